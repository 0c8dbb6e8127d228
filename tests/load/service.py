"""The whole service for a load: web server, worker and a Redis of its own, any of which can be killed and comes back."""

import os
import random
import signal
import sys
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Event, Thread

from django.db import connection

from tests.engines.services import Running, environment, free_port, own_redis, wait_for, worker

FEWEST_BETWEEN, MOST_BETWEEN = 0.2, 1.2


class Service:
    """What runs, and how to kill some of it."""

    def __init__(self, redis: str, folder: Path) -> None:
        self.redis, self.folder, self.port = redis, folder, free_port()
        self.killed: Counter[str] = Counter()
        self.spared, _ = _sessions()
        self.web = self._web()
        self.worker = worker(redis, folder / "worker.log") if redis else None
        wait_for(self.answers, 120)

    def _web(self) -> Running:
        command = [
            sys.executable, "-m", "gunicorn", "studio.wsgi:application", f"--bind=127.0.0.1:{self.port}",
            "--no-control-socket", "--worker-class=gthread", "--workers=2", "--threads=4",
        ]  # fmt: skip
        settings = environment(
            self.redis, STILLROOM_DEBUG="0", STILLROOM_HOSTS="127.0.0.1", STILLROOM_RATE="100000000"
        )
        return Running(command, settings, self.folder / "web.log")

    def answers(self) -> bool:
        address = f"http://127.0.0.1:{self.port}/healthz"
        with suppress(OSError, urllib.error.URLError), urllib.request.urlopen(address, timeout=5) as answer:
            return bool(answer.status == 200)
        return False

    def kill_one(self, rng: random.Random) -> None:
        """SIGKILL to a web process, to all of them or to the worker, or the end of a session of the database."""
        chance = rng.random()
        if chance < 0.08:
            self.web.kill()
            self.web = self._web()
            self.killed["web server"] += 1
        elif chance < 0.15 and self.worker:
            self.worker.kill()
            self.worker = worker(self.redis, self.folder / "worker.log")
            self.killed["worker"] += 1
        elif chance < 0.75 and connection.vendor == "postgresql":
            self._end_session(rng)
        elif children := self.web.children:
            with suppress(ProcessLookupError):
                os.kill(rng.choice(children), signal.SIGKILL)
                self.killed["web process"] += 1

    def _end_session(self, rng: random.Random) -> None:
        sessions, own = _sessions()
        if ends := sorted(sessions - self.spared - {own}):
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_terminate_backend(%s)", [rng.choice(ends)])
            self.killed["session of the database"] += 1

    def web_seconds(self) -> float:
        """Processor time that the web processes have taken since they were started."""
        took = 0
        for child in self.web.children:
            fields = Path(f"/proc/{child}/stat").read_text().rpartition(")")[2].split()
            took += int(fields[11]) + int(fields[12])
        return took / os.sysconf("SC_CLK_TCK")

    def end(self) -> None:
        self.web.end()
        if self.worker:
            self.worker.end()


def _sessions() -> tuple[set[int], int]:
    """All sessions in this database, and which is our own; none on SQLite."""
    if connection.vendor != "postgresql":
        return set(), 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pid, pg_backend_pid() FROM pg_stat_activity WHERE datname = current_database()"
        )
        rows = cursor.fetchall()
    return {pid for pid, _ in rows}, rows[0][1]


class Killer(Thread):
    """Kills at random moments until it is stopped, or has killed `most` times."""

    def __init__(self, service: Service, most: int, seed: int = 1) -> None:
        super().__init__(daemon=True)
        self.service, self.most = service, most
        self.rng = random.Random(seed)
        self.stopped = Event()

    def run(self) -> None:
        until_killed = self.most
        while self.service.killed.total() < until_killed and not self.stopped.is_set():
            # Whoever was killed is back before the next, or there would be nothing going on to be broken off.
            wait_for(self.service.answers, 120)
            time.sleep(self.rng.uniform(FEWEST_BETWEEN, MOST_BETWEEN))
            self.service.kill_one(self.rng)
        connection.close()


@contextmanager
def running(folder: Path, *, broker: bool) -> Iterator[Service]:
    if not broker:
        service = Service("", folder)
        try:
            yield service
        finally:
            service.end()
        return
    with own_redis(folder) as redis:
        service = Service(redis.url, folder)
        try:
            yield service
        finally:
            service.end()
