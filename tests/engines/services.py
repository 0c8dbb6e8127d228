"""Real programs for tests that end them: a Redis of one's own, workers, a web server; each in a process group to be killed."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def database_url() -> str:
    """The test database, as another process finds it."""
    made = connection.settings_dict
    if connection.vendor == "sqlite":
        return "sqlite:///" + quote(str(made["NAME"]))
    who = quote(made["USER"]) + (f":{quote(made['PASSWORD'])}" if made["PASSWORD"] else "")
    host = quote(made["HOST"], safe="")
    return f"postgresql://{who}@{host}{':' + str(made['PORT']) if made['PORT'] else ''}/{made['NAME']}"


def environment(redis: str = "", **more: str) -> dict[str, str]:
    """What a process needs to work on the test database."""
    return {
        **os.environ,
        "DATABASE_URL": database_url(),
        "REDIS_URL": redis,
        "STILLROOM_DATA": str(settings.DATA_DIR),
        "STILLROOM_DEBUG": "1",
        "STILLROOM_SECRET_KEY": settings.SECRET_KEY,
        # The checkpoints it makes stay in the database, and are proved by other tests.
        "STILLROOM_CHECKPOINT_KEY": settings.CHECKPOINT_KEY,
        "STILLROOM_WEBHOOKS_WITHIN": "127.0.0.0/8",
        "PYTHONPATH": str(ROOT),
        **more,
    }


class Running:
    """A program in a process group of its own."""

    def __init__(self, command: list[str], env: Mapping[str, str], log: Path) -> None:
        with log.open("ab") as out:
            self.process = subprocess.Popen(
                command, env=env, cwd=ROOT, stdout=out, stderr=out, start_new_session=True
            )

    @property
    def children(self) -> list[int]:
        told = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        return [int(one) for one in told.read_text().split()]

    def kill(self) -> None:
        """SIGKILL to all of it: nobody has time for a last word."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def end(self) -> None:
        if self.process.poll() is None:
            self.kill()


def worker(redis: str, log: Path, *more: str) -> Running:
    """The worker, by the command that a server runs."""
    command = [sys.executable, "-m", "celery", "-A", "studio.celery", "worker", "--loglevel=INFO"]
    return Running([*command, "--concurrency=2", *more], environment(redis), log)


def scheduler(redis: str, folder: Path) -> Running:
    """The scheduler, by the command that a server runs."""
    command = [sys.executable, "-m", "celery", "-A", "studio.celery", "beat", "--loglevel=INFO"]
    command += [f"--schedule={folder / 'beat'}", f"--pidfile={folder / 'beat.pid'}"]
    return Running(command, environment(redis), folder / "beat.log")


def thread_of_jobs(log: Path) -> Running:
    """A process that does what a web process without a broker does beside serving: work off the schedule."""
    script = "import studio.wsgi, threading; threading.Event().wait()"
    return Running([sys.executable, "-c", script], environment(), log)


class OwnRedis:
    """A Redis on a port of its own that can be away and come back, with nothing kept in between."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.start()

    def start(self) -> None:
        command = ["redis-server", "--bind", "127.0.0.1", "--port", str(self.port), "--save", ""]
        command += ["--dir", str(self.folder)]
        self.running = Running(command, dict(os.environ), self.folder / "redis.log")
        wait_for(self._answers)

    def stop(self) -> None:
        self.running.end()

    def _answers(self) -> bool:
        with socket.socket() as there:
            return there.connect_ex(("127.0.0.1", self.port)) == 0


@contextmanager
def own_redis(folder: Path) -> Iterator[OwnRedis]:
    redis = OwnRedis(folder)
    try:
        yield redis
    finally:
        redis.stop()


@contextmanager
def web(redis: str, folder: Path) -> Iterator[str]:
    """The web server; yields its address."""
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "studio.wsgi:application", f"--bind=127.0.0.1:{port}"]
    command += ["--no-control-socket", "--worker-class=gthread", "--workers=1", "--threads=4"]
    running = Running(command, environment(redis), folder / "web.log")
    address = f"http://127.0.0.1:{port}"
    try:
        wait_for(lambda: _alive(address))
        yield address
    finally:
        running.end()


def _alive(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/healthz", timeout=5) as answer:
            return bool(answer.status == 200)
    except (OSError, urllib.error.URLError):
        return False


def wait_for(ready: Callable[[], bool], seconds: float = 60) -> None:
    """Ask again and again until it is so; fails when the time is over."""
    until = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < until, "it did not come to pass in time"
        time.sleep(0.05)
