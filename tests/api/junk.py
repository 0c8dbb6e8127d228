"""Bad values for every field of a body, drawn from its schema, and the bodies that carry one of them each.

A value that the schema excludes must be refused; one that the schema lets through may be refused or taken, but never
break anything. `Written` stands for text that goes into the body as it is, for numbers that Python cannot say.
"""

import json
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from tests.api.contract import Schema, faults_of, kinds, resolved

HUGE = 100_000
MISSING = "(missing)"
UNTOUCHED = object()
Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Written:
    """JSON as it stands, such as a number beyond any float."""

    text: str

    def __str__(self) -> str:
        return self.text


ANY_LETTERS = "🌹 ورد é'; DROP TABLE lot; -- <b>&amp; %s {0}"
OF_ANY_KIND: tuple[Any, ...] = (
    None,
    True,
    [],
    {"a": {"b": 1}},
    Written("-1"),
    Written("0"),
    Written("-0"),
    Written("1e400"),
    Written("9223372036854775808"),
    "",
    "-1",
    "-0",
    "NaN",
    "Infinity",
    "1e400",
    "abc",
    "\u202e\u200b",
    "a\x07b",
    "x" * HUGE,
)
FOR_NUMBERS: tuple[Any, ...] = (
    "0",
    "1,5",
    "1_000",
    " 1",
    "1e3",
    "٢",
    "0.0000000001",
    "999999999999",
    Written("1e-400"),
)
FOR_TIMES: tuple[Any, ...] = (
    "9999-12-30T23:59:59Z",
    "9999-12-31T23:59:59-23:00",
    "0001-01-01T00:00:00+23:00",
    "2026-02-30T00:00:00Z",
    "2026-01-01T00:00:00",
    "0001-01-01",
    "2026-13-01",
)
FOR_IDS: tuple[Any, ...] = ("0", "987654321", "9223372036854775807", "01", "1.0")


def bad_values(schema: Schema) -> Iterator[Any]:
    """Values for a field of this schema, most of which it excludes."""
    yield from OF_ANY_KIND
    kind = kinds(schema)
    if schema.get("format") in ("date", "date-time"):
        yield from FOR_TIMES
    elif "number" in kind or "integer" in kind:
        yield from FOR_NUMBERS
    elif schema.get("pattern", "").startswith("^[1-9]"):
        yield from FOR_IDS
    if "array" in kind:
        yield ["a", 1, {}]


@dataclass(frozen=True)
class Field:
    """A field that a body may have: where it is, its schema as described, and whether it must be there."""

    where: Path
    schema: Schema
    required: bool

    @property
    def name(self) -> str:
        """How an answer names it among the faults."""
        return ".".join(map(str, self.where))

    @property
    def is_text(self) -> bool:
        """Whether it takes any text there is."""
        schema = resolved(self.schema)
        plain = not schema.keys() & {"format", "enum", "examples"}
        return plain and kinds(schema) <= {"string", "null"} and schema.get("pattern", r"\S") == r"\S"


def fields_of(schema: Schema, body: Any, where: Path = ()) -> Iterator[Field]:
    """Every field that a body of this schema may have; what is nested is looked for where the body has it."""
    schema = resolved(schema)
    if isinstance(body, Mapping):
        for name, inner in schema.get("properties", {}).items():
            yield Field((*where, name), inner, name in schema.get("required", ()))
            if name in body:
                yield from fields_of(inner, body[name], (*where, name))
    elif isinstance(body, list) and body:
        yield Field((*where, 0), schema.get("items", {}), required=False)
        yield from fields_of(schema.get("items", {}), body[0], (*where, 0))


@dataclass(frozen=True)
class Spoiled:
    """A body in which one or more fields hold what their schema excludes."""

    values: Mapping[str, Any]
    body: bytes

    def __str__(self) -> str:
        return ", ".join(f"{name} = {str(value)[:40]!r}" for name, value in self.values.items())


def spoiled(schema: Schema, body: Mapping[str, Any]) -> Iterator[Spoiled]:
    """Bodies with excluded values, all fields of one depth at once, until each has held all of its own.

    Fields of other depths are left sound, so that a bad list does not hide a bad item.
    """
    fields = list(fields_of(schema, body))
    for depth in sorted({len(field.where) for field in fields}):
        here = [field for field in fields if len(field.where) == depth]
        for values in zip_longest(*(list(excluded_values(field)) for field in here), fillvalue=UNTOUCHED):
            changed, told = body, {}
            for field, value in zip(here, values, strict=True):
                if value is not UNTOUCHED:
                    changed = changed_at(changed, field.where, value)
                    told[field.name] = value
            yield Spoiled(told, written(changed))


def excluded_values(field: Field) -> Iterator[Any]:
    """What the schema of a field excludes; nothing at all, if it must be there."""
    if field.required:
        yield MISSING
    yield from (value for value in bad_values(resolved(field.schema)) if is_excluded(value, field.schema))


def odd(schema: Schema, body: Mapping[str, Any]) -> Iterator[Spoiled]:
    """Bodies with one value that the schema lets through and only the studio can judge."""
    for field in fields_of(schema, body):
        if not field.is_text:
            for value in bad_values(resolved(field.schema)):
                if not is_excluded(value, field.schema):
                    yield Spoiled({field.name: value}, written(changed_at(body, field.where, value)))


def is_excluded(value: Any, schema: Schema) -> bool:
    """Whether the schema of a field excludes a value; bounds of numbers in text are not its affair."""
    if isinstance(value, Written):
        try:
            value = json.loads(value.text)
        except ValueError:
            return True
        if value in (float("inf"), 0.0) or (isinstance(value, float) and abs(value) < 1e-300):
            return False
    return bool(faults_of(value, schema))


def changed_at(body: Any, where: Path, value: Any) -> Any:
    """A copy of the body with another value at a place, or without it when the value is `MISSING`."""
    changed = deepcopy(body)
    inner = changed
    for step in where[:-1]:
        inner = inner[step]
    if value is MISSING:
        inner.pop(where[-1], None)
    else:
        inner[where[-1]] = value
    return changed


def written(body: Any) -> bytes:
    """The body as JSON, with what is `Written` standing as it is."""
    marks: list[str] = []

    def mark(value: Any) -> str:
        if not isinstance(value, Written):
            raise TypeError(f"{value!r} has no form in JSON")
        marks.append(value.text)
        return f"@@{len(marks) - 1}@@"

    text = json.dumps(body, default=mark)
    for place, number in enumerate(marks):
        text = text.replace(f'"@@{place}@@"', number)
    return text.encode()
