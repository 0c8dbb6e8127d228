"""The service as it is shipped for a server has nothing that the framework would warn of."""

import os
import re
import subprocess
import sys
from pathlib import Path

import yaml

ROOT = Path(__file__).resolve().parents[2]
GIVEN = {
    "STILLROOM_SECRET_KEY": "5b1f0c5e7d9a4c3b8e2f6a1d0c9b8a7f6e5d4c3b2a190817263544f3e2d1c0ba",
    "STILLROOM_HOSTS": "stillroom.example.org",
    "STILLROOM_ORIGIN": "https://stillroom.example.org",
    "POSTGRES_PASSWORD": "letters",
}
"""What the operator of a public address sets; the secret key is made up here and used nowhere."""


def shipped() -> dict[str, str]:
    """The environment that the compose file gives the service, with the operator's settings put in."""
    compose = yaml.safe_load((ROOT / "docker-compose.yml").read_text("utf-8"))
    told = compose["services"]["web"]["environment"]
    return {name: filled(str(value)) for name, value in told.items()}


def filled(value: str) -> str:
    return re.sub(r"\$\{(\w+):[-?]([^}]*)\}", lambda found: GIVEN.get(found[1], found[2]), value)


def findings(tmp_path: Path, **changed: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("STILLROOM_")}
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    environment |= {**shipped(), "STILLROOM_DATA": str(tmp_path), "PROMETHEUS_MULTIPROC_DIR": "", **changed}
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_the_shipped_settings_give_no_warning(tmp_path: Path) -> None:
    done = findings(tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "no issues" in done.stdout + done.stderr


def test_a_short_key_or_an_address_without_encryption_is_warned_of(tmp_path: Path) -> None:
    done = findings(tmp_path, STILLROOM_SECRET_KEY="short", STILLROOM_ORIGIN="http://stillroom.example.org")
    assert done.returncode == 1
    assert {"W004", "W009", "W012"} <= set(re.findall(r"security\.(W\d+)", done.stderr))
