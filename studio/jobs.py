"""Background work of the ground floor, and what every job of any floor is made by.

A job takes ids, reads again, is safe to run twice, and is acknowledged when it is done: a worker that dies in the
middle leaves it to another. Hiccups of the database are retried after a growing pause.
"""

from collections.abc import Callable
from functools import partial
from typing import Any

from celery import shared_task
from django.db import InterfaceError, OperationalError
from django.utils import timezone

from studio.actions.answers import forget_old_answers as forget

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
