"""A web server of the service for a while, as it is run, and the memory of its workers."""

import http.client
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

STARTS_WITHIN_SECONDS = 60


@dataclass(frozen=True)
class Served:
    """A running server: its port, and its main process."""

    port: int
    process: int

    def workers_mb(self) -> float:
        """Proportional memory of one worker, the largest, in MB (shared pages count as shared)."""
        children = Path(f"/proc/{self.process}/task/{self.process}/children").read_text().split()
        return max(_proportional_mb(child) for child in children)


@contextmanager
def served(
    *, workers: int, settings: str = "tests.bench.settings", application: str = "studio.wsgi"
) -> Iterator[Served]:
    """gunicorn with threads, as `studio/bin/run` starts it, on a free port of this machine."""
    port = _free_port()
    command = [
        sys.executable, "-m", "gunicorn", f"{application}:application", "--bind", f"127.0.0.1:{port}",
        "--no-control-socket", "--worker-class", "gthread", "--workers", str(workers), "--threads", "4",
        "--log-level", "warning",
    ]  # fmt: skip
    server = subprocess.Popen(command, env={**os.environ, "DJANGO_SETTINGS_MODULE": settings})
    try:
        _wait_for(port)
        yield Served(port, server.pid)
    finally:
        server.terminate()
        server.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_for(port: int) -> None:
    until = time.monotonic() + STARTS_WITHIN_SECONDS
    while time.monotonic() < until:
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("GET", "/healthz")
            connection.getresponse().read()
            return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError("The server to be measured did not start.")


def _proportional_mb(process: str) -> float:
    found = re.search(r"^Pss:\s+(\d+) kB", Path(f"/proc/{process}/smaps_rollup").read_text(), re.MULTILINE)
    assert found is not None
    return int(found[1]) / 1000
