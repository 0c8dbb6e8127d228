"""Doing things at the same time, each in a thread with a database connection of its own."""

import threading
from collections.abc import Callable, Sequence
from typing import Any


def together(*works: Callable[[], Any]) -> list[Any]:
    """Start all works at one moment; returns what each returned or raised, in their order."""
    start = threading.Barrier(len(works))
    outcomes: list[Any] = [None] * len(works)

    def run(place: int, work: Callable[[], Any]) -> None:
        from django.db import connections

        try:
            start.wait()
            outcomes[place] = work()
        except Exception as error:
            outcomes[place] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(place, work)) for place, work in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcomes


def raised(outcomes: Sequence[Any]) -> list[Exception]:
    """Those of the outcomes that are errors."""
    return [outcome for outcome in outcomes if isinstance(outcome, Exception)]
