"""Background work of the ground floor, and what every job of any floor is made by.

A job takes ids, reads again, is safe to run twice, and is acknowledged when it is done: a worker that dies in the
middle leaves it to another. Hiccups of the database are retried after a growing pause.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

from celery import shared_task
from django.conf import settings
from django.core.mail import send_mail
from django.db import InterfaceError, OperationalError
from django.utils import timezone

from studio.actions.answers import forget_old_answers as forget
from studio.actions.checkpoints import make_checkpoint
from studio.queries.checkpoints import checkpoint_letter, studios_without_checkpoint

BETWEEN_CHECKPOINTS = timedelta(hours=20)

job: Callable[..., Any] = partial(
    shared_task,
    autoretry_for=(OperationalError, InterfaceError),
    retry_backoff=2,
    retry_backoff_max=60,
    max_retries=5,
)
"""Makes a function a job."""


@job()
def forget_old_answers() -> int:
    """Drop remembered answers past their time; returns how many."""
    return forget(at=timezone.now())


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
