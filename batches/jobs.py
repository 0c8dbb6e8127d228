"""Background work on batches: thin jobs around actions, each safe to run twice."""

from django.utils import timezone

from batches.actions.reserving import release_stale_batch, stale_batches
from studio.jobs import job
from studio.models import Studio


@job()
def release_stale_claims() -> int:
    """Let go of claims that saw no weighing for their studio's chosen days; returns how many batches it sent back."""
    now = timezone.now()
    return sum(
        release_stale_batch(now=now, batch=batch)
        for studio in Studio.objects.order_by("id")
        for batch in stale_batches(studio=studio, now=now)
    )
