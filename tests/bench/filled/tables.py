"""Writing rows by the hundred thousand: COPY on PostgreSQL, many at once on SQLite; keys are given out here.

Only for filling a studio to measure on. The service itself writes through its actions.
"""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models

Values = Sequence[Any]


def is_postgresql() -> bool:
    return bool(connection.vendor == "postgresql")


def stamp(at: datetime) -> str:
    """A time as the database reads it from text."""
    return at.isoformat() if is_postgresql() else str(at.astimezone(UTC).replace(tzinfo=None))


class Table:
    """Rows of one model on their way into the database; what all have in common is told once, or their default."""

    def __init__(self, model: type[models.Model], *columns: str, **same: Any) -> None:
        self.model = model
        same |= _defaults(model, {*columns, *same})
        self.same = tuple(same.values())
        named = [model._meta.get_field(name).column for name in (*columns, *same)]
        self.columns = ["id", *named]
        self.rows: list[tuple[Any, ...]] = []
        self.last_id = 0

    def add(self, *values: Any) -> int:
        """Put a row on its way and give it its key."""
        self.last_id += 1
        self.rows.append((self.last_id, *values, *self.same))
        return self.last_id

    def write(self) -> None:
        """Write what is on its way, in the transaction that is open."""
        rows, self.rows = self.rows, []
        if not rows:
            return
        names = ", ".join(f'"{column}"' for column in self.columns)
        table = self.model._meta.db_table
        with connection.cursor() as cursor:
            if is_postgresql():
                with cursor.cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                    for row in rows:
                        copy.write_row(row)
            else:
                marks = ", ".join(["%s"] * len(self.columns))
                cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)


def _defaults(model: type[models.Model], told: set[str]) -> dict[str, Any]:
    """What the other fields that cannot be empty begin with, as the database takes it."""
    return {
        field.name: field.get_db_prep_save(field.get_default(), connection)
        for field in model._meta.concrete_fields
        if not (field.primary_key or field.null or field.name in told)
    }


def end_filling(tables: Sequence[Table]) -> None:
    """Let the database give out the next keys, and look once at what it holds, as it would in service."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [table.model for table in tables]):
            cursor.execute(statement)
        if not is_postgresql():
            cursor.execute("ANALYZE")
            return
        # The lots were written twice, once empty and once as they stand; the service would not leave such a heap.
        cursor.execute("VACUUM FULL inventory_lot")
        cursor.execute("VACUUM ANALYZE")
