"""Starting background work by the name of its job, and keeping the time where nobody else does.

`settings.JOBS` says who works: "workers" (Celery takes jobs from the broker, its own scheduler keeps the time),
"thread" (one thread per web process does both), "at once" (in the caller, right after the commit) or "nobody" (a test
runs what it wants to see). Starting a job is a nudge and never a promise: what has to be done stands in rows, and a
scheduled job sweeps up what no nudge reached. So a broker that is away delays work and fails no request.
"""

import logging
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from queue import Empty, Queue
from typing import Any

from celery import current_app
from celery.schedules import maybe_schedule
from django.conf import settings
from django.db import close_old_connections, transaction
from kombu.exceptions import OperationalError

from studio.kernel.resting import Resting

log = logging.getLogger(__name__)

LONGEST_NAP_SECONDS = 60.0
_waiting: Queue[Callable[[], Any]] = Queue()
_starting = threading.Lock()
_thread: threading.Thread | None = None
_broker = Resting(seconds=5)


def dispatch(name: str, *ids: int) -> None:
    """Run the job `name` with these ids after the present transaction has committed; never if it is rolled back."""
    transaction.on_commit(partial(_start, name, ids))


def keep_time() -> None:
    """Start the thread of this process if it is the one that works; called once when a web process starts."""
    global _thread
    if settings.JOBS != "thread":
        return
    with _starting:
        if _thread is None or not _thread.is_alive():
            _thread = threading.Thread(target=_work_on, name="jobs", daemon=True)
            _thread.start()


def _start(name: str, ids: tuple[int, ...]) -> None:
    if settings.JOBS == "workers":
        _send(name, ids)
    elif settings.JOBS == "thread":
        _waiting.put(partial(_job(name), *ids))
        keep_time()
    elif settings.JOBS == "at once":
        _job(name)(*ids)


def _job(name: str) -> Callable[..., Any]:
    current_app.loader.import_default_modules()
    job: Callable[..., Any] = current_app.tasks[name]
    return job


def _send(name: str, ids: tuple[int, ...]) -> None:
    """Hand the job to the broker; while that is away, leave it to the scheduled sweep."""
    if _broker.rests:
        return
    try:
        current_app.send_task(name, args=ids)
    except (OperationalError, OSError) as error:
        _broker.rest()
        log.warning("The broker is away; %s waits for the next sweep (%s).", name, type(error).__name__)


def _work_on() -> None:
    current_app.loader.import_default_modules()
    schedule = {name: _Timed(entry) for name, entry in settings.CELERY_BEAT_SCHEDULE.items()}
    while True:
        naps = [timed.run_if_due() for timed in schedule.values()]
        try:
            _run(_waiting.get(timeout=min([LONGEST_NAP_SECONDS, *naps])))
        except Empty:
            continue


class _Timed:
    """One entry of the schedule. Intervals begin with a run; what has its time of day waits for it."""

    def __init__(self, entry: dict[str, Any]) -> None:
        self.task = entry["task"]
        self.schedule = maybe_schedule(entry["schedule"])
        repeats = isinstance(entry["schedule"], (int, float))
        self.last = datetime.fromtimestamp(0, UTC) if repeats else datetime.now(UTC)

    def run_if_due(self) -> float:
        """Run it if it is time; returns after how many seconds to look again."""
        due, seconds = self.schedule.is_due(self.last)
        if due:
            self.last = datetime.now(UTC)
            _run(_job(self.task))
        return max(0.1, float(seconds))


def _run(job: Callable[[], Any]) -> None:
    """One job, whose failure is logged and stops no other."""
    close_old_connections()
    try:
        job()
    except Exception:
        log.exception("A background job failed.")
    finally:
        close_old_connections()
