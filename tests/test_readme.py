"""The tour of the README, run by hand's rules: its commands in one shell against a fresh demo studio, its output compared."""

import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NUMBER = re.compile(r"\bB?\d{2}-\d{4,9}-[0-9A-Z]\b")
MARK = "@@step"


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A service of its own with the demo studio: key and port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    environment = {
        **{name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")},
        "STILLROOM_DATA": str(tmp_path),
        "STILLROOM_SECRET_KEY": "only for this test",
        "STILLROOM_ORIGIN": f"http://127.0.0.1:{port}",
    }

    def manage(*words: str) -> list[str]:
        return [sys.executable, str(ROOT / "manage.py"), *words]

    subprocess.run(manage("migrate", "-v0"), env=environment, check=True)
    told = subprocess.run(manage("demo"), env=environment, check=True, capture_output=True, text=True)
    serving = subprocess.Popen(
        manage("runserver", f"127.0.0.1:{port}", "--noreload"),
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(f"http://127.0.0.1:{port}/healthz")
        yield {"KEY": json.loads(told.stdout.splitlines()[-1])["key"], "PORT": port, "folder": str(tmp_path)}
    finally:
        serving.terminate()
        serving.wait()


@pytest.mark.looks
def test_the_tour_prints_what_the_readme_says(demo: dict[str, str]) -> None:
    steps = tour_steps((ROOT / "README.md").read_text())
    script = "".join(f"{command}\necho '{MARK}'\n" for command, _ in steps)
    shell = subprocess.run(
        ["bash"],
        input=script,
        capture_output=True,
        text=True,
        cwd=demo["folder"],
        env={**os.environ, "KEY": demo["KEY"], "PORT": demo["PORT"]},
        check=False,
    )
    assert shell.stderr == ""
    printed = shell.stdout.split(f"{MARK}\n")[:-1]
    assert len(printed) == len(steps) > 20
    for (command, expected), output in zip(steps, printed, strict=True):
        assert NUMBER.sub("#", output) == NUMBER.sub("#", expected), command


def tour_steps(readme: str) -> list[tuple[str, str]]:
    """The commands of the console blocks, with what each is said to print; the key is given, not set."""
    steps: list[tuple[str, str]] = []
    for block in re.findall(r"```console\n(.*?)```", readme, re.DOTALL):
        for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, output = _parted(step)
            if not command.startswith("KEY="):
                steps.append((command, output))
    return steps


def _parted(step: str) -> tuple[str, str]:
    """A command is over where its quotes are closed; what follows is its output."""
    lines = step.splitlines(keepends=True)
    for count in range(1, len(lines) + 1):
        command = "".join(lines[:count])
        if command.count("'") % 2 == 0:
            return command.rstrip("\n"), "".join(lines[count:])
    raise AssertionError(f"unbalanced quotes in the README: {step}")


def _wait_for(address: str) -> None:
    for _ in range(240):
        try:
            with urllib.request.urlopen(address):
                return
        except OSError:
            time.sleep(0.25)
    raise AssertionError(f"nothing answers at {address}")
