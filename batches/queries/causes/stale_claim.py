"""Reserved batches whose claims will end because nobody weighs."""

from datetime import UTC, date, datetime, time

from django.db.models import Count, Max, Sum

from batches.calc.stale_claims import reported_after, stale_claim
from batches.models import Batch
from batches.models.unweighed import unweighed_since
from inventory.models import Claim, ClaimState
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such batch; one statement when there is none, two otherwise."""
    before = now - reported_after(studio.claim_days)
    batches = list(unweighed_since(studio, before).order_by("id"))
    if not batches:
        return []
    open_claims = Claim.objects.of(studio).filter(
        state=ClaimState.OPEN, purpose__in=[batch.number for batch in batches]
    )
    sums = (
        open_claims.order_by()
        .values("purpose")
        .annotate(mass=Sum("mass"), lots=Count("pk"), touched_at=Max("touched_at"))
    )
    claimed = {row["purpose"]: row for row in sums}
    return [
        stale_claim(
            batch=batch.pk,
            number=batch.number,
            title=batch.title,
            touched_at=_last_touched(batch, claimed[batch.number]["touched_at"]),
            claim_days=studio.claim_days,
            mass=claimed[batch.number]["mass"],
            lots=claimed[batch.number]["lots"],
        )
        for batch in batches
        if batch.reserved_at is not None and batch.number in claimed
    ]


def _last_touched(batch: Batch, claims: datetime) -> datetime:
    """From when its claims grow stale: the last change, or the day it was planned for if that came later."""
    planned = datetime.combine(batch.planned_on or date.min, time(), UTC)
    return max(claims, planned, batch.reserved_at or claims)
