"""What races and their twins share: doing one thing many times at once, and the locks taken away.

A twin puts a meeting of the clients where the lock was, between reading and writing, so that the race it shows happens
every time and not by luck.
"""

from collections.abc import Callable, Iterable
from threading import Barrier
from typing import Any

from django.db import connection

from batches.models import Batch
from inventory.models import Lot
from studio.models import Member
from tests.together import together

THREADS = 8


def at_once(work: Callable[[], Any], count: int = THREADS) -> list[Any]:
    """The same work from several threads at one moment."""
    return together(*[work] * count)


class Unlocked:
    """`lock_lots` without the lock, at which the clients meet: each has read before any of them writes."""

    def __init__(self, clients: int) -> None:
        self.meeting = Barrier(clients)

    def __call__(self, *, studio: Any, ids: Iterable[int]) -> dict[int, Lot]:
        lots = {lot.id: lot for lot in Lot.objects.of(studio).filter(id__in=set(ids)).order_by("id")}
        self.meeting.wait(timeout=20)
        return lots


def without_sqlites_write_lock(work: Callable[[], Any]) -> Any:
    """SQLite has one lock for all of the file, taken when a transaction begins; here it begins without."""
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        connection.transaction_mode = None
    return work()


def unlocked_batch(clients: int, states: Iterable[str]) -> Callable[..., Batch]:
    """`lock_batch` without the lock, at which the clients meet: all have read the state before any changes it."""
    meeting = Barrier(clients)

    def read(*, by: Member, number: str, **_: Any) -> Batch:
        batch = Batch.objects.of(by.studio_id).get(number=number)
        assert batch.state in states
        meeting.wait(timeout=20)
        return batch

    return read
