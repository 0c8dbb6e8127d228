"""Changing plain fields of a row: one guarded UPDATE, the next edition, and the history of what changed."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.db import models

from studio.actions.history import differences, record
from studio.kernel.errors import StaleEdition
from studio.kernel.work import work
from studio.models import Member

Row = TypeVar("Row", bound=models.Model)


def refuse_stale(row: Any, expected: int | None, called: str) -> None:
    """Raise `StaleEdition` when the caller last read another edition than the row now has."""
    if expected is not None and expected != row.edition:
        raise StaleEdition(
            f"{called} was changed since you read it (edition {expected}, now {row.edition}). Read it again."
        )


def change_fields(
    *,
    by: Member,
    at: datetime,
    row: Row,
    subject: str,
    name: str,
    changes: Mapping[str, Any],
    expected: int | None = None,
) -> Row:
    """Set fields of a row that has an `edition`; nothing is written when nothing differs.

    Raises `StaleEdition` when somebody else changed the row since `expected`, or since it was read here.
    """
    called = f"{subject} {name}".capitalize()
    refuse_stale(row, expected, called)
    before = {field: getattr(row, field) for field in changes}
    changed = differences(before, changes)
    if not changed:
        return row
    with work():
        edition: int = row.edition  # type: ignore[attr-defined]
        written = (
            type(row)
            ._default_manager.filter(pk=row.pk, edition=edition)
            .update(**changes, edition=edition + 1)
        )
        if not written:
            raise StaleEdition(f"{called} was changed by somebody else at the same moment. Read it again.")
        record(by=by, at=at, subject=subject, name=name, verb="changed", changes=changed)
    row.refresh_from_db()
    return row
