"""How values become JSON, in answers, problems and remembered answers alike.

There is one writer, so a mass, a date or a dataclass looks the same wherever it leaves the house: decimals are
plain strings, times are RFC 3339 in UTC, dataclasses are objects.
"""

import dataclasses
import json
from collections.abc import Mapping, Set
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

JSON = "application/json"


def dump(value: Any) -> bytes:
    """Compact UTF-8 JSON of `value`; raises `TypeError` for anything that has no agreed form."""
    return json.dumps(
        value, default=_plain, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    ).encode()


def moment_text(moment: datetime) -> str:
    """An aware time as RFC 3339 in UTC, such as `2026-03-01T09:30:00Z`."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        return moment_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, Set):
        return sorted(value)
    if hasattr(value, "__iter__"):
        return list(value)
    raise TypeError(f"{type(value).__name__} has no form in JSON.")
