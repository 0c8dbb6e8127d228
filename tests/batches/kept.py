"""A world that takes long to make, made once for the tests of a module; what each of them does to it is undone."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.db import transaction

World = TypeVar("World")


@contextmanager
def undone(unblocker: Any) -> Iterator[None]:
    """Whatever is written in the block is rolled back; `unblocker` is the plugin's guard of the database."""
    with unblocker.unblock():
        block = transaction.atomic()
        block.__enter__()
        try:
            yield
        finally:
            transaction.set_rollback(True)
            block.__exit__(None, None, None)


def kept(make: Callable[[], World], unblocker: Any) -> Iterator[World]:
    """The body of a fixture of the scope of a module that makes a world, and undoes it after its last test."""
    with undone(unblocker):
        yield make()
