"""Noting when a job ran, so that one that no longer does is noticed."""

from datetime import datetime, timedelta

from studio.models import JobRun


def note_run(*, name: str, at: datetime, took: timedelta, failed: bool) -> None:
    """Write down the end of a run of the job `name`."""
    when = {"failed_at": at} if failed else {"finished_at": at, "took_ms": int(took.total_seconds() * 1000)}
    JobRun.objects.update_or_create(name=name, defaults=when)
