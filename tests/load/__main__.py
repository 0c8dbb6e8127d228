"""`python -m tests.load [--clients 64] [--seconds 120] [--kills 0]`: a storm on a database of its own, and its figures.

`DATABASE_URL` names a PostgreSQL server; the database is made there and dropped at the end. The service runs as it is
deployed: two web processes of four threads, a worker, a Redis. Afterwards everything is proved as `manage.py verify` does.
"""

import os
import sys
from argparse import ArgumentParser
from collections import Counter
from pathlib import Path
from statistics import quantiles
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import psycopg

if TYPE_CHECKING:
    from tests.load.storm import Storm

NAME = "stillroom_load"


def main() -> None:
    parser = ArgumentParser(prog="python -m tests.load", description=__doc__)
    parser.add_argument("--clients", type=int, default=64)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--kills", type=int, default=0, help="Kill so often, and end then.")
    asked = parser.parse_args()
    given = os.environ["DATABASE_URL"]
    with psycopg.connect(given, autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {NAME} WITH (FORCE)")
        server.execute(f"CREATE DATABASE {NAME}")
    os.environ["DATABASE_URL"] = urlsplit(given)._replace(path=f"/{NAME}").geturl()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    try:
        _run(asked.clients, asked.seconds, asked.kills)
    finally:
        with psycopg.connect(given, autocommit=True) as server:
            server.execute(f"DROP DATABASE {NAME} WITH (FORCE)")


def _run(clients: int, seconds: float, kills: int) -> None:
    import django

    django.setup()
    from django.core.management import call_command
    from django.utils import timezone

    from studio.actions.studios import found_studio
    from tests.load.storm import assert_all_is_there_once, storm

    call_command("migrate", verbosity=0)
    by = found_studio(
        name="Load", owner_name="Ada", email="ada@example.org", password="oak resin 77 tin", at=timezone.now()
    )
    by.studio.refresh_from_db()
    with TemporaryDirectory() as folder:
        after = storm(by, Path(folder), clients=clients, seconds=seconds, kills=kills)
    show(after)
    assert_all_is_there_once(by, after)
    say("Verified: each acknowledged write is there once, nothing is oversold, verify finds nothing.")


def show(after: "Storm") -> None:
    took: dict[str, list[float]] = {}
    for told in after.told:
        for what, times in told.took.items():
            took.setdefault(what, []).extend(times)
    say("| request | answers | a second | p50 | p95 | p99 | longest (ms) |", "|" + " --- |" * 7)
    for what, times in sorted(took.items()):
        cuts = quantiles(times, n=100) if len(times) > 1 else [times[0]] * 99
        figures = " | ".join(f"{1000 * cut:.0f}" for cut in (cuts[49], cuts[94], cuts[98], max(times)))
        say(f"| {what} | {len(times)} | {len(times) / after.seconds:.1f} | {figures} |")
    refused: Counter[str] = sum((told.refused for told in after.told), Counter())
    broken: Counter[int] = sum((told.broken for told in after.told), Counter())
    say(
        f"{len(after.told)} clients, {after.seconds:.0f} s, {after.answers} answers "
        f"({after.answers / after.seconds:.1f} a second; {1000 * after.web_seconds / after.answers:.0f} ms of processor "
        f"time each in the web processes, their start included); refused {dict(refused)}; breakdowns {dict(broken)}; "
        f"cut off {sum(told.cut_off for told in after.told)}; sent again {sum(told.repeats for told in after.told)}; "
        f"killed {dict(after.killed)}; load of the machine {os.getloadavg()}"
    )


def say(*lines: str) -> None:
    sys.stdout.write("\n".join(lines) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
