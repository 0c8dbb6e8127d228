"""Remembering the first answer to a request, so that its repetition has no second effect.

The mark is inserted inside the work's own transaction. Of two requests at once, the second waits at
the unique index until the first has committed, and then finds its answer; a crash leaves neither work nor mark.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta

from django.db import connection

from studio.kernel.work import work
from studio.models import Member, RememberedAnswer

KEPT = timedelta(hours=48)
"""Promised are 24 hours; the double covers a client that sleeps over a night and a slow clean-up."""


def mark_request(*, by: Member, at: datetime, key: str, digest: str) -> RememberedAnswer:
    """The mark for this member's `key`: new (status None), or with the answer given before.

    Must be called inside `work()`. Inserting it is the lock: whoever comes second waits at the unique index until
    this work has committed, so a mark that is found there always has its answer.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("mark_request belongs inside the work it marks.")
    mark = RememberedAnswer(member=by, key=key, request_digest=digest, created_at=at)
    RememberedAnswer.objects.bulk_create([mark], ignore_conflicts=True)
    return RememberedAnswer.objects.get(member=by, key=key)


def keep_answer(*, mark: RememberedAnswer, status: int, headers: Mapping[str, str], body: bytes) -> None:
    """Write the answer into its mark."""
    mark.status, mark.headers, mark.body = status, dict(headers), body
    mark.save(update_fields=["status", "headers", "body"])


def forget_old_answers(*, at: datetime) -> int:
    """Delete what is past its time; returns how many answers were forgotten."""
    with work():
        return RememberedAnswer.objects.filter(created_at__lt=at - KEPT).delete()[0]
