"""`work`: the one transaction of a verb.

An action opens it; an idempotent request opens it around the action, so that the remembered answer and the
work are committed together or not at all. The outermost one is durable: when it returns, the work is on disk.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def work() -> Iterator[None]:
    """Run the block in one durable transaction, or as a savepoint of the work already going on."""
    with transaction.atomic(durable=not connection.in_atomic_block):
        yield
