"""Writing past the triggers, as somebody with full power over the database could."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection


@contextmanager
def without_triggers(table: str) -> Iterator[None]:
    """The append-only triggers of a table are off; only for a test that is rolled back."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL session_replication_role = replica")
            yield
            cursor.execute("SET LOCAL session_replication_role = origin")
        else:
            cursor.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table]
            )
            triggers = cursor.fetchall()
            for name, _ in triggers:
                cursor.execute(f"DROP TRIGGER {name}")
            yield
            for _, sql in triggers:
                cursor.execute(sql)
