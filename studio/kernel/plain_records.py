"""Frozen dataclasses as plain JSON and back, so that what a paper is made of can be kept, compared and read again.

Decimals, days and moments become texts that say exactly the same; a record of the same type read back is equal to the one
that was written. Supported are the types records are made of: texts, whole numbers, booleans, Decimal, date, datetime, None,
tuples of one type, and other dataclasses.
"""

from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

Record = TypeVar("Record")


def to_plain(value: Any) -> Any:
    """`value` as JSON can hold it. Raises `TypeError` for what no record is made of."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [to_plain(one) for one in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: to_plain(getattr(value, one.name)) for one in fields(value)}
    raise TypeError(f"{type(value).__name__} is in no record.")


def from_plain(kind: type[Record], plain: Any) -> Record:
    """The record of this type that `plain` was written from."""
    read: Record = _read(kind, plain)
    return read


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _read(kind: Any, plain: Any) -> Any:
    if get_origin(kind) in (Union, UnionType):
        [inner] = [one for one in get_args(kind) if one is not NoneType]
        return None if plain is None else _read(inner, plain)
    if get_origin(kind) is tuple:
        return tuple(_read(get_args(kind)[0], one) for one in plain)
    if kind is Decimal:
        return Decimal(plain)
    if kind is datetime:
        return datetime.fromisoformat(plain)
    if kind is date:
        return date.fromisoformat(plain)
    if isinstance(kind, type) and is_dataclass(kind):
        hints = _hints(kind)
        return kind(**{one.name: _read(hints[one.name], plain[one.name]) for one in fields(kind)})
    return plain
