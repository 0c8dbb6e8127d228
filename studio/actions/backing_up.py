"""A backup of everything, made while the service runs, and its restoring into an empty or a given-up database.

A backup is a tar file: the database as its own tools copy it (SQLite by its online backup, PostgreSQL by `pg_dump`),
and the checkpoints and public keys that stand outside of it. The private key of the checkpoints is not in it: a stolen
backup must not sign. After a restore the service goes on with the old key where it still has it, else with a new one.
"""

import json
import os
import shutil
import sqlite3
import subprocess
import tarfile
import tempfile
from collections.abc import Sequence
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import connection

from studio.kernel.checkpoints import utc_text
from studio.kernel.errors import Conflict, Invalid

FORM = "backup 1"
HEAD, DATABASE, OUTSIDE = "backup.json", "database", "checkpoints"


class NoBackup(Invalid):
    """The file is no backup, not whole, or of another kind of database than the one to restore into."""

    code = "no-backup"
    title = "Not a backup for this"


class DatabaseInUse(Conflict):
    """There are tables in the database already; say that they may be replaced, or restore into an empty one."""

    code = "database-in-use"
    title = "Not an empty database"


class ToolFailed(Conflict):
    """A program of PostgreSQL did not do its work, or is not there."""

    code = "tool-failed"
    title = "The database's own program failed"


def back_up(*, at: datetime, to: Path) -> None:
    """Write a backup to the file `to`, readable by its owner only; it is whole or not there. Raises `ToolFailed`."""
    with tempfile.TemporaryDirectory(dir=to.resolve().parent) as folder:
        copied = Path(folder) / DATABASE
        _copy_out(copied)
        head = Path(folder) / HEAD
        head.write_text(
            json.dumps({"form": FORM, "engine": connection.vendor, "made_at": utc_text(at)}), "utf-8"
        )
        draft = Path(folder) / "draft.tar"
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
            with tarfile.open(fileobj=file, mode="w") as backup:
                backup.add(head, HEAD)
                backup.add(copied, DATABASE)
                if Path(settings.CHECKPOINTS).is_dir():
                    backup.add(settings.CHECKPOINTS, OUTSIDE)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(to)


def restore(*, at: datetime, file: Path, replace: bool = False) -> None:
    """Put the database and the checkpoints back as they were; stop the service before.

    Checkpoints that are there now are moved aside, not lost. Raises `NoBackup`, `DatabaseInUse`, `ToolFailed`.
    """
    if not replace and connection.introspection.table_names():
        raise DatabaseInUse(
            "There are tables in the database already. Restore into an empty one, or say --replace."
        )
    with tempfile.TemporaryDirectory() as folder:
        try:
            with tarfile.open(file) as backup:
                backup.extractall(folder, filter="data")
            head = json.loads((Path(folder) / HEAD).read_text("utf-8"))
            form, engine = head["form"], head["engine"]
        except (tarfile.TarError, OSError, ValueError, KeyError, TypeError) as error:
            raise NoBackup(f"{file} is no whole backup: {error}.") from None
        if (form, engine) != (FORM, connection.vendor):
            raise NoBackup(f"{file} is a {form} of {engine}; the database here is {connection.vendor}.")
        connection.close()
        _copy_in(Path(folder) / DATABASE)
        _put_outside(at, Path(folder) / OUTSIDE)


def _copy_out(to: Path) -> None:
    if connection.vendor == "postgresql":
        _run(["pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--file={to}"])
        return
    with (
        closing(_opened(Path(connection.settings_dict["NAME"]))) as source,
        closing(sqlite3.connect(to)) as copy,
    ):
        source.backup(copy)
        [(sound,)] = copy.execute("PRAGMA quick_check").fetchall()
        if sound != "ok":
            raise ToolFailed(f"The copy of the database is not sound: {sound}.")


def _copy_in(source: Path) -> None:
    if connection.vendor == "postgresql":
        name = connection.settings_dict["NAME"]
        options = ["--clean", "--if-exists", "--no-owner", "--no-privileges", "--single-transaction"]
        _run(["pg_restore", *options, "--exit-on-error", f"--dbname={name}", str(source)])
        return
    with (
        closing(_opened(source)) as copy,
        closing(sqlite3.connect(connection.settings_dict["NAME"])) as database,
    ):
        copy.backup(database)
        database.execute("PRAGMA journal_mode=WAL")


def _put_outside(at: datetime, source: Path) -> None:
    """The checkpoints of the backup in place of those that are there, which are moved aside."""
    place = Path(settings.CHECKPOINTS)
    if place.exists():
        place.rename(place.with_name(f"{place.name}-before-{at:%Y%m%dT%H%M%S%f}"))
    if source.is_dir():
        shutil.copytree(source, place)


def _opened(file: Path) -> sqlite3.Connection:
    """A database file, to be read only."""
    return sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True)


def _run(command: Sequence[str]) -> None:
    """Run a program of PostgreSQL with the sign-in of this service; raises `ToolFailed` with what it said."""
    told: dict[str, Any] = connection.settings_dict
    variables = {
        "PGHOST": "HOST",
        "PGPORT": "PORT",
        "PGUSER": "USER",
        "PGPASSWORD": "PASSWORD",
        "PGDATABASE": "NAME",
    }
    given = {name: str(told[key]) for name, key in variables.items() if told.get(key)}
    try:
        done = subprocess.run(
            command, env={**os.environ, **given}, capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        raise ToolFailed(f"{command[0]} is not installed; it comes with the PostgreSQL client.") from None
    if done.returncode:
        raise ToolFailed(f"{command[0]} failed: {done.stderr.strip()[-500:]}")
