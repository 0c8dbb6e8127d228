"""Background work of the ground floor, and what every job of any floor is made by.

A job takes ids, reads again, is safe to run twice, and is acknowledged when it is done: a worker that dies in the
middle leaves it to another. Hiccups of the database are retried after a growing pause.
"""

import functools
import logging
from collections.abc import Callable
from datetime import timedelta
from time import monotonic
from typing import Any
from uuid import uuid4

from celery import Task, shared_task
from django.conf import settings
from django.core.mail import send_mail
from django.db import InterfaceError, OperationalError
from django.utils import timezone

from studio.actions.alerts import keep_alerts
from studio.actions.answers import forget_old_answers as forget
from studio.actions.checkpoints import make_checkpoint
from studio.actions.job_runs import note_run
from studio.actions.outbox import forget_old_events
from studio.actions.sending import send_next
from studio.actions.sessions import forget_old_sessions as drop_old_sessions
from studio.actions.telling import write_digest
from studio.kernel.background import dispatch
from studio.kernel.logs import known_as
from studio.models import Studio
from studio.queries.alerts import causes_in, open_alerts, wanting_digest
from studio.queries.checkpoints import checkpoint_letter, studios_without_checkpoint

log = logging.getLogger(__name__)

BETWEEN_CHECKPOINTS = timedelta(hours=20)

SENDING_SECONDS = 240.0
"""How long one run goes on sending; what is left then is for the next."""
EVENTS_KEPT = timedelta(days=30)


def job() -> Callable[[Callable[..., Any]], Task]:
    """Makes a function a job; a run of one without ids, which the schedule starts, is noted with its time."""

    def make(work: Callable[..., Any]) -> Task:
        name = f"{work.__module__}.{work.__name__}"

        @functools.wraps(work)
        def run(*ids: int) -> Any:
            with known_as(f"{work.__name__}-{uuid4().hex[:12]}"):
                return work(*ids) if ids else _noted(name, work)

        made: Task = shared_task(
            name=name,
            autoretry_for=(OperationalError, InterfaceError),
            retry_backoff=2,
            retry_backoff_max=60,
            max_retries=5,
        )(run)
        return made

    return make


def _noted(name: str, work: Callable[[], Any]) -> Any:
    began = monotonic()
    failed = True
    try:
        result = work()
        failed = False
        return result
    finally:
        took = timedelta(seconds=monotonic() - began)
        note_run(name=name, at=timezone.now(), took=took, failed=failed)
        log.info("job %s in %.1f s", "failed" if failed else "done", took.total_seconds())


@job()
def forget_old_answers() -> int:
    """Drop remembered answers past their time; returns how many."""
    return forget(at=timezone.now())


@job()
def forget_old_sessions() -> int:
    """Drop sessions that have run out; returns how many."""
    return drop_old_sessions(at=timezone.now())


@job()
def make_checkpoints() -> int:
    """Once a night a checkpoint of every studio in which something is new, and a mail of them; returns how many."""
    now = timezone.now()
    made = [
        checkpoint
        for studio in studios_without_checkpoint(since=now - BETWEEN_CHECKPOINTS)
        if (checkpoint := make_checkpoint(at=now, studio=studio)) is not None
    ]
    if made and settings.CHECKPOINT_MAIL:
        send_mail(
            subject=f"Stillroom checkpoints of {now:%d %b %Y}",
            message=checkpoint_letter(made),
            from_email=None,
            recipient_list=[settings.CHECKPOINT_MAIL],
        )
    return len(made)


@job()
def forget_what_was_sent() -> int:
    """Drop events that were delivered, or given up, a month ago; returns how many."""
    return forget_old_events(before=timezone.now() - EVENTS_KEPT)


@job()
def deliver() -> int:
    """Send what is due in the outbox; returns how many tries that were."""
    until = monotonic() + SENDING_SECONDS
    tries = 0
    while monotonic() < until and send_next(at=timezone.now()) is not None:
        tries += 1
    return tries


@job()
def look_for_causes() -> None:
    """Have every studio looked after; each in a job of its own, so that one that fails holds up no other."""
    for studio in Studio.objects.order_by("id").values_list("id", flat=True):
        dispatch("studio.jobs.look_after", studio)


@job()
def look_after(studio_id: int) -> None:
    """Bring the alerts of a studio in line with the causes that are there."""
    studio = Studio.objects.get(pk=studio_id)
    now = timezone.now()
    known = open_alerts(studio)
    kept = keep_alerts(studio=studio, at=now, known=known, found=causes_in(studio, now))
    if kept.raised or kept.changed or kept.closed:
        log.info(
            "studio %s: %s alerts raised, %s changed, %s closed",
            studio_id,
            kept.raised,
            kept.changed,
            kept.closed,
        )


@job()
def write_daily_mails() -> int:
    """Write the daily mails from the hour of the day on that the operator chose; returns how many."""
    now = timezone.now()
    if now.hour < settings.DAILY_MAIL_HOUR:
        return 0
    return sum(write_digest(member=member, at=now) for member in wanting_digest(now))
