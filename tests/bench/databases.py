"""The databases that are filled: one for each size, made beside the one that DATABASE_URL names and dropped again."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

import psycopg
from psycopg import sql

from tests.bench.filled.size import Size

SERVER = "DATABASE_URL"


@contextmanager
def database_of(size: Size, *, keep: bool) -> Iterator[None]:
    """Point the service at a database with a studio of this size, filled if it is not there, dropped unless kept.

    Must be entered before Django is set up.
    """
    given = os.environ.get(SERVER, "")
    if given.startswith("sqlite"):
        with _sqlite(size):
            yield
        return
    name = f"{urlsplit(given).path.strip('/') or 'stillroom'}_bench_{size.name.lower()}"
    new = _create(given, name)
    os.environ[SERVER] = urlsplit(given)._replace(path=f"/{name}").geturl()
    try:
        _set_up(size if new else None)
        yield
    finally:
        _close()
        os.environ[SERVER] = given
        if not keep:
            _on_server(given, sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


@contextmanager
def _sqlite(size: Size) -> Iterator[None]:
    with TemporaryDirectory(prefix="stillroom-bench-") as folder:
        given = os.environ[SERVER]
        os.environ[SERVER] = f"sqlite:///{Path(folder) / 'bench.sqlite3'}"
        try:
            _set_up(size)
            yield
        finally:
            _close()
            os.environ[SERVER] = given


def _set_up(size: Size | None) -> None:
    """Start the service on the database, with its tables; fill it when it is new."""
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    if size is not None:
        from tests.bench.filled.filling import fill

        fill(size, now=datetime.now(UTC))


def _close() -> None:
    from django.db import connections

    connections.close_all()


def _create(server: str, name: str) -> bool:
    """Make the database unless it is there."""
    there = _on_server(
        server, sql.SQL("SELECT 1 FROM pg_database WHERE datname = {}").format(sql.Literal(name))
    )
    if not there:
        _on_server(server, sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    return not there


def _on_server(server: str, statement: sql.Composed) -> bool:
    """Run one statement on the server; whether it gave any row."""
    with psycopg.connect(server, autocommit=True) as connection:
        cursor = connection.execute(statement)
        return cursor.description is not None and cursor.fetchone() is not None
