"""A migration operation that makes a table append-only in the database itself, on both engines.

UPDATE, DELETE and (on PostgreSQL) TRUNCATE are refused by triggers whoever asks. A few columns may be named
that are written `once`: they start as NULL, may be set together by one later UPDATE, and then hold for ever
(a weighing is struck through this way).
"""

from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation


class AppendOnly(Operation):
    """Refuse any change of the rows of `table`, except filling the `once` columns one time."""

    reversible = True

    def __init__(self, table: str, columns: list[str], once: list[str] | None = None) -> None:
        self.table = table
        self.columns = columns
        self.once = once or []

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The models look the same with and without the triggers."""

    def describe(self) -> str:
        return f"Make {self.table} append-only"

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        self._drop(schema_editor)
        build = self._postgresql if schema_editor.connection.vendor == "postgresql" else self._sqlite
        for statement in build():
            schema_editor.execute(statement, params=None)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        self._drop(schema_editor)

    def _drop(self, schema_editor: BaseDatabaseSchemaEditor) -> None:
        """Take the triggers away: for good, or before others are made for more columns."""
        on = f" ON {self.table}" if schema_editor.connection.vendor == "postgresql" else ""
        names = ["update", "delete"] + (["truncate"] if on else [])
        for name in names:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {self.table}_no_{name}{on}", params=None)

    def _changed(self, distinct: str) -> str:
        """SQL that is true when an UPDATE touches more than the `once` columns, or fills them again."""
        kept = [column for column in self.columns if column not in self.once]
        changed = [f"OLD.{column} {distinct} NEW.{column}" for column in kept]
        filled = [f"OLD.{column} IS NOT NULL" for column in self.once]
        return " OR ".join(changed + filled)

    def _sqlite(self) -> list[str]:
        def refuse(verb: str) -> str:
            return f"BEGIN SELECT RAISE(ABORT, '{self.table} is append-only: no {verb}'); END"

        return [
            f"CREATE TRIGGER {self.table}_no_update BEFORE UPDATE ON {self.table} "
            f"WHEN {self._changed('IS NOT')} {refuse('update')}",
            f"CREATE TRIGGER {self.table}_no_delete BEFORE DELETE ON {self.table} {refuse('delete')}",
        ]

    def _postgresql(self) -> list[str]:
        function = f"{self.table}_append_only"
        call = f"EXECUTE FUNCTION {function}()"
        return [
            f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"RAISE EXCEPTION '{self.table} is append-only: no %', lower(TG_OP) "
            "USING ERRCODE = 'integrity_constraint_violation'; END $$",
            f"CREATE TRIGGER {self.table}_no_update BEFORE UPDATE ON {self.table} FOR EACH ROW "
            f"WHEN ({self._changed('IS DISTINCT FROM')}) {call}",
            f"CREATE TRIGGER {self.table}_no_delete BEFORE DELETE ON {self.table} FOR EACH ROW {call}",
            f"CREATE TRIGGER {self.table}_no_truncate BEFORE TRUNCATE ON {self.table} "
            f"FOR EACH STATEMENT {call}",
        ]
