"""Batches that hold claims and are not weighed for: read by the job that lets the claims go, and by the alert before."""

from datetime import datetime

from django.db.models import Exists, OuterRef, Q

from batches.models.making import CLAIMING, Batch, Weighing
from inventory.models import Claim, ClaimState
from studio.models import ScopedQuerySet, Studio


def unweighed_since(studio: Studio, before: datetime) -> ScopedQuerySet[Batch]:
    """Batches that were reserved and planned for before, with no weighing that stands and no change of plan since."""
    touched_since = Claim.objects.of(studio).filter(
        purpose=OuterRef("number"), state=ClaimState.OPEN, touched_at__gte=before
    )
    unweighed: ScopedQuerySet[Batch] = (
        Batch.objects.of(studio)
        .filter(Q(planned_on=None) | Q(planned_on__lt=before.date()))
        .filter(state__in=CLAIMING, reserved_at__lt=before)
        .exclude(Exists(Weighing.objects.filter(batch=OuterRef("pk")).standing()))
        .exclude(Exists(touched_since))
    )
    return unweighed
