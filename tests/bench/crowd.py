"""Many clients at once: each in a process of its own with its own connection, all let go at one moment."""

import multiprocessing
from collections.abc import Callable, Sequence
from time import perf_counter
from typing import Any

from django.db import connections

Work = Callable[[Sequence[Any]], None]


def milliseconds_each(work: Work, share: Sequence[Sequence[Any]]) -> float:
    """Milliseconds of the clock for one thing, when every client does `work` on its share of the things.

    Raises `RuntimeError` when a client failed, because then nothing was measured.
    """
    connections.close_all()
    processes = multiprocessing.get_context("fork")
    start = processes.Barrier(len(share) + 1)
    clients = [processes.Process(target=_client, args=(work, things, start)) for things in share]
    for client in clients:
        client.start()
    start.wait()
    started = perf_counter()
    for client in clients:
        client.join()
    took = 1000 * (perf_counter() - started)
    if any(client.exitcode for client in clients):
        raise RuntimeError("A client failed; see above.")
    return took / sum(len(things) for things in share)


def _client(work: Work, things: Sequence[Any], start: Any) -> None:
    connections["default"].ensure_connection()
    start.wait()
    work(things)


def shared_out(things: Sequence[Any], clients: int) -> list[Sequence[Any]]:
    return [things[place::clients] for place in range(clients)]
