"""Reading the rows that can never change, as checkpoints hash them: making and proving a checkpoint read alike."""

from collections.abc import Iterator, Sequence

from django.apps import apps
from django.db.models import Model

from studio.kernel.checkpoints import row_text
from studio.kernel.guarded import Guarded, guarded_tables

CHUNK = 2000
IN_THE_CHAIN = frozenset({"studio_sealedrecord", "studio_checkpoint"})
"""Append-only tables whose order is proved by their own chain."""


def covered_tables() -> list[Guarded]:
    """The append-only tables that checkpoints cover, by name."""
    return [one for name, one in sorted(guarded_tables().items()) if name not in IN_THE_CHAIN]


def model_of(table: str) -> type[Model] | None:
    """The model whose rows are in `table`; None when there is none any more."""
    return next((model for model in apps.get_models() if model._meta.db_table == table), None)


def settled_rows(
    table: str, *, studio: int, columns: Sequence[str], after: int, to: int
) -> Iterator[tuple[int, str]]:
    """Id and text of the studio's rows with ids above `after` (0: from the very first) and up to `to`, in order.

    One statement, read a few rows at a time. Ids that were never given out are looked at too: a row may be slipped in.
    Raises `LookupError` when table or column are gone.
    """
    model = model_of(table)
    if model is None:
        raise LookupError(f"There is no table {table}.")
    fields = {field.column: field.attname for field in model._meta.concrete_fields}
    if missing := [column for column in columns if column not in fields]:
        raise LookupError(f"The table {table} has no column {', '.join(missing)}.")
    rows = model._default_manager.filter(studio=studio, pk__lte=to)
    if after:
        rows = rows.filter(pk__gt=after)
    for pk, *values in (
        rows.order_by("pk").values_list("pk", *(fields[column] for column in columns)).iterator(CHUNK)
    ):
        yield pk, row_text(values)
