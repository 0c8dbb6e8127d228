"""Background work of the ground floor, and how any floor's job is started and kept time for.

With a broker (REDIS_URL) jobs go to Celery workers, and Celery's own scheduler keeps the time. Without one, one
thread per web process does both: it works off what was dispatched and runs the scheduled jobs when they are due. Every
job is safe to run twice, so several such threads do no harm.
"""

import logging
import threading
import time
from collections.abc import Callable
from functools import partial
from queue import Empty, Queue
from typing import Any

from celery import Task, current_app, shared_task
from django.conf import settings
from django.db import close_old_connections, transaction
from django.utils import timezone

from studio.actions.answers import forget_old_answers as forget

log = logging.getLogger(__name__)

_waiting: Queue[Callable[[], Any]] = Queue()
_starting = threading.Lock()
_thread: threading.Thread | None = None
LONGEST_NAP_SECONDS = 60.0


@shared_task(acks_late=True, reject_on_worker_lost=True)
def forget_old_answers() -> int:
    """Drop remembered answers past their time; returns how many."""
    return forget(at=timezone.now())


def dispatch(task: Task, *ids: int) -> None:
    """Run `task` after the present transaction commits: on a worker if there is a broker, else in this process."""
    transaction.on_commit(partial(_start, task, ids))


def keep_time() -> None:
    """Start the in-process thread where no broker is configured; called once when a web process starts."""
    global _thread
    if settings.CELERY_BROKER_URL:
        return
    with _starting:
        if _thread is None or not _thread.is_alive():
            _thread = threading.Thread(target=_work_on, name="jobs", daemon=True)
            _thread.start()


def _start(task: Task, ids: tuple[int, ...]) -> None:
    if settings.CELERY_BROKER_URL:
        task.delay(*ids)
        return
    _waiting.put(partial(task, *ids))
    keep_time()


def _work_on() -> None:
    current_app.loader.import_default_modules()
    schedule: dict[str, Any] = settings.CELERY_BEAT_SCHEDULE
    due = dict.fromkeys(schedule, time.monotonic())
    while True:
        now = time.monotonic()
        for name, when in due.items():
            if when <= now:
                entry = schedule[name]
                _run(current_app.tasks[entry["task"]])
                due[name] = now + entry["schedule"]
        try:
            _run(_waiting.get(timeout=min(LONGEST_NAP_SECONDS, max(0.1, min(due.values()) - now))))
        except Empty:
            continue


def _run(job: Callable[[], Any]) -> None:
    """One job, whose failure is logged and stops no other."""
    close_old_connections()
    try:
        job()
    except Exception:
        log.exception("A background job failed.")
    finally:
        close_old_connections()
