"""The history: one entry for each change of a thing, written in the transaction of the change."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from studio.models import HistoryEntry, Member


def record(
    *,
    by: Member,
    at: datetime,
    subject: str,
    name: str,
    verb: str,
    changes: Mapping[str, Any] | None = None,
    why: str = "",
) -> HistoryEntry:
    """Write that `by` did `verb` to the thing `name` of the sort `subject`, and what changed by it."""
    return HistoryEntry.objects.create(
        studio_id=by.studio_id,
        at=at,
        by=by,
        subject=subject,
        name=name,
        verb=verb,
        changes={field: plain(change) for field, change in (changes or {}).items()},
        why=why,
    )


def record_each(
    *, by: Member, at: datetime, subject: str, verb: str, things: Mapping[str, Mapping[str, Any]]
) -> None:
    """Write one entry for each of `things`, by its name, with what changed by it; one statement for a whole sheet."""
    HistoryEntry.objects.bulk_create(
        HistoryEntry(
            studio_id=by.studio_id,
            at=at,
            by=by,
            subject=subject,
            name=name,
            verb=verb,
            changes={field: plain(change) for field, change in changes.items()},
        )
        for name, changes in things.items()
    )


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, list[Any]]:
    """The fields of `after` that differ from `before`, each as [old, new] in values JSON can hold.

    Compared are the values themselves, so 1.0 and 1.00 are no difference. A field that `before` lacks was None.
    """
    return {
        field: [plain(before.get(field)), plain(value)]
        for field, value in after.items()
        if before.get(field) != value
    }


def plain(value: Any) -> Any:
    """`value` as JSON can hold it: decimals and dates as text, a row by the name people call it."""
    if value is None or isinstance(value, (bool, int)):
        return value
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, (str, bytes)):
        return [plain(inner) for inner in value]
    return str(value)
