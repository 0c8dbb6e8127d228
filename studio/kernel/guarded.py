"""Which tables the database itself keeps append-only, as the migrations say.

The migrations are asked and not the models, so that a table that was made append-only is known here without being
named a second time: checkpoints cover it, exports carry it, and a role of the service gets no right to change it.
"""

from dataclasses import dataclass
from functools import cache

from django.db.migrations.loader import MigrationLoader

from studio.kernel.append_only import AppendOnly


@dataclass(frozen=True, slots=True)
class Guarded:
    """A table that only grows: its columns, and those among them that may be filled once."""

    table: str
    columns: tuple[str, ...]
    once: tuple[str, ...]

    @property
    def settled(self) -> tuple[str, ...]:
        """The columns that say the same from the moment a row is written."""
        return tuple(column for column in self.columns if column not in self.once)


@cache
def guarded_tables() -> dict[str, Guarded]:
    """Every append-only table by name; of several migrations of one table the last holds."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    operations = (
        operation
        for _, migration in sorted(loader.disk_migrations.items())
        for operation in migration.operations
        if isinstance(operation, AppendOnly)
    )
    return {
        one.table: Guarded(table=one.table, columns=tuple(one.columns), once=tuple(one.once))
        for one in operations
    }
