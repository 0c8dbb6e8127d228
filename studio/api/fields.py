"""The shapes of the API and the fields they are made of: what JSON may say, before any action sees it.

A `Shape` refuses fields it does not know, so a typing mistake is never silently ignored. The fields read exactly
what their OpenAPI description says (a text is no number, a number no text) and hand on the values the actions
work with: grams and strengths as exact `Decimal`s, numbers of lots in their written form, aware times.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from difflib import get_close_matches
from functools import cached_property
from types import MethodType
from typing import Any, Literal, cast

from django.utils.dateparse import parse_datetime
from rest_framework import serializers

from studio.api.rendering import moment_text
from studio.kernel.errors import Invalid
from studio.kernel.mass import LARGEST_MASS, exact_mass, exact_strength, finite_decimal, positive_mass
from studio.kernel.numbers import Sort, compose, parse

Direction = Literal["request", "response"]
_PLAIN_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?", re.ASCII)
_WHOLE_TEXT = re.compile(r"-?\d{1,19}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,6})?([Zz]|[+-]\d\d:\d\d)", re.ASCII)


class Shape(serializers.Serializer):
    """Base of every shape, in and out: named fields, and no others."""

    default_error_messages = {"invalid": "Send an object with named fields here."}

    @cached_property
    def _writers(self) -> list[tuple[str, list[str], Callable[[Any], Any]]]:
        """Of each field its name, the way to its value, and how it is written."""
        return [
            (name, field.source_attrs, field.to_representation)
            for name, field in self.fields.items()
            if not field.write_only
        ]

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """What the framework's own method gives, at a third of its time: long answers are mostly this."""
        try:
            return {
                name: None if (value := _value_at(instance, way)) is None else write(value)
                for name, way, write in self._writers
            }
        except (AttributeError, KeyError):
            return cast(dict[str, Any], super().to_representation(instance))

    def to_internal_value(self, data: Any) -> Any:
        errors: dict[str, Any] = {}
        if isinstance(data, Mapping):
            for name in data:
                if name not in self.fields or self.fields[name].read_only:
                    errors[str(name)] = [unknown_name(str(name), self.fields, "field")]
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            raise serializers.ValidationError({**errors, **cast(dict[str, Any], error.detail)}) from None
        if errors:
            raise serializers.ValidationError(errors)
        return value


def _value_at(thing: Any, way: Iterable[str]) -> Any:
    """The value that the names in `way` lead to, from a row or a mapping; None where the way ends in nothing."""
    for name in way:
        if thing is None:
            return None
        thing = thing[name] if isinstance(thing, dict) else getattr(thing, name)
        if isinstance(thing, MethodType):
            thing = thing()
    return thing


def unknown_name(name: str, known: Iterable[str], what: str) -> str:
    """The sentence about a name that is not among `known`, with the nearest one if there is one."""
    known = sorted(known)
    near = get_close_matches(name, known, n=1)
    hint = f" Did you mean “{near[0]}”?" if near else f" Known here: {', '.join(known) or 'none'}."
    return f"There is no {what} “{name[:60]}” here.{hint}"


class DescribedField(serializers.Field):
    """A field that knows its own description; `studio.api.schema` asks for it."""

    def described(self, direction: Direction) -> dict[str, Any]:
        """The JSON Schema of what is read ("request") or written ("response")."""
        raise NotImplementedError

    @property
    def what(self) -> str:
        """How sentences call the field: `tare_mass` is “the tare mass”."""
        return f"the {self.field_name.replace('_', ' ')}" if self.field_name else "the value"

    def refuse(self, sentence: str) -> serializers.ValidationError:
        return serializers.ValidationError(sentence)

    @property
    def from_text(self) -> bool:
        """Whether the value comes from a query string, where everything is text."""
        return bool(self.context.get("from_text"))


class _NumberText(DescribedField):
    """Common to the decimal fields: a decimal in quotes, or a plain JSON number (read exactly, never as float).

    What is written may come as a `Decimal`, or as its text from a value kept as JSON.
    """

    example = "1"
    pattern = r"^(0|[1-9]\d*)(\.\d+)?$"
    bounds: dict[str, Any] = {}

    def exact(self, value: str | int | Decimal) -> Decimal:
        raise NotImplementedError

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            number = self.exact(data)
        except Invalid as refusal:
            raise self.refuse(refusal.message) from None
        minus_zero = number == 0 and isinstance(data, str) and data.startswith("-")
        if isinstance(data, str) and (minus_zero or not _PLAIN_NUMBER.fullmatch(data)):
            raise self.refuse(f"Write {self.what} with digits and a point only, like {self.example}.")
        return number

    def described(self, direction: Direction) -> dict[str, Any]:
        if direction == "response":
            return {"type": "string", "pattern": self.pattern, "examples": [self.example]}
        return {
            "type": ["string", "number"],
            "pattern": self.pattern,
            "examples": [self.example],
            **self.bounds,
        }


class GramsField(_NumberText):
    """A mass in grams on the microgram grid; written with six places. `zero=True` lets 0 in."""

    example = "2.500000"
    pattern = r"^(0|[1-9]\d{0,6})(\.\d{1,6})?$"

    def __init__(self, *, zero: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.zero = zero
        self.bounds = {"minimum" if zero else "exclusiveMinimum": 0, "maximum": int(LARGEST_MASS)}

    def exact(self, value: str | int | Decimal) -> Decimal:
        return exact_mass(value, self.what) if self.zero else positive_mass(value, self.what)

    def to_representation(self, value: Decimal | str) -> str:
        return f"{Decimal(value):.6f}"

    def described(self, direction: Direction) -> dict[str, Any]:
        described = super().described(direction)
        if direction == "response":
            described["pattern"] = r"^-?(0|[1-9]\d*)\.\d{6}$"
        return described


class StrengthField(_NumberText):
    """A mass fraction above 0 and at most 1 with at most nine places; written as short as it is exact."""

    example = "0.1"
    pattern = r"^(0|1)(\.\d{1,9})?$"
    bounds = {"exclusiveMinimum": 0, "maximum": 1}

    def exact(self, value: str | int | Decimal) -> Decimal:
        return exact_strength(value, self.what)

    def to_representation(self, value: Decimal | str) -> str:
        return shortest(Decimal(value))


def shortest(number: Decimal) -> str:
    """`number` without trailing zeros and without an exponent: 0.100000000 is "0.1"."""
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


class DecimalText(_NumberText):
    """Any other decimal: at most `digits` digits, `places` of them after the point, within the given bounds."""

    def __init__(
        self,
        *,
        digits: int = 12,
        places: int = 4,
        above: Decimal | int | None = None,
        least: Decimal | int | None = None,
        most: Decimal | int | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.digits, self.places = digits, places
        self.above, self.least, self.most = above, least, most
        self.step = Decimal(1).scaleb(-places)
        self.example = format(Decimal("1.5") if places else Decimal(1), f".{places}f")
        self.pattern = (
            rf"^-?(0|[1-9]\d{{0,{digits - places - 1}}})(\.\d{{1,{places}}})?$" if places else r"^-?\d+$"
        )
        limits = {"exclusiveMinimum": above, "minimum": least, "maximum": most}
        self.bounds = {key: _json_number(limit) for key, limit in limits.items() if limit is not None}

    def exact(self, value: str | int | Decimal) -> Decimal:
        number = finite_decimal(value, self.what)
        name = self.what[:1].upper() + self.what[1:]
        if self.above is not None and number <= self.above:
            raise Invalid(f"{name} must be more than {self.above}.")
        if self.least is not None and number < self.least:
            raise Invalid(f"{name} must be at least {self.least}.")
        if self.most is not None and number > self.most:
            raise Invalid(f"{name} must be at most {self.most}.")
        if abs(number) >= Decimal(10) ** (self.digits - self.places):
            raise Invalid(f"{name} has more than {self.digits - self.places} digits before the point.")
        stepped = self._on_grid(number)
        if stepped != number:
            raise Invalid(f"{name} has more than {self.places} decimal places.")
        return stepped

    def _on_grid(self, number: Decimal) -> Decimal:
        """Rounded half-even to the field's places; `exact` refuses what this changes."""
        return number.quantize(self.step, rounding=ROUND_HALF_EVEN)

    def to_representation(self, value: Decimal | str) -> str:
        return format(self._on_grid(Decimal(value)), "f")


def _json_number(limit: Decimal | int) -> int | float:
    return int(limit) if limit == int(limit) else float(limit)


class NumberField(DescribedField):
    """The number of a lot or a batch, read in any case and with or without hyphens, checked, written in full."""

    def __init__(self, sort: Sort = "lot", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.sort = sort

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise self.refuse(f"Give the {self.sort} number as text.")
        try:
            return parse(self.sort, data)
        except Invalid as refusal:
            raise self.refuse(refusal.message) from None

    def to_representation(self, value: Any) -> str:
        return str(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        described: dict[str, Any] = {"type": "string", "examples": [compose(self.sort, 26, 417)]}
        if direction == "response":
            described["pattern"] = r"^B?\d{2}-\d{4,9}-[0-9A-Z]$"
        return described


class PlainText(DescribedField):
    """A text for people: trimmed, in Unicode's composed form, without control characters (`lines` allows breaks)."""

    def __init__(self, *, longest: int, lines: bool = False, blank: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.longest, self.lines, self.blank = longest, lines, blank

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise self.refuse("Give this as text.")
        text = unicodedata.normalize("NFC", data.replace("\r\n", "\n")).strip()
        if not text and not self.blank:
            raise self.refuse("This must not be empty.")
        if len(text) > self.longest:
            raise self.refuse(f"This has {len(text)} characters; at most {self.longest} are kept.")
        allowed = "\n\t" if self.lines else ""
        if any(unicodedata.category(letter) in ("Cc", "Cs") and letter not in allowed for letter in text):
            raise self.refuse("This text holds a control character; retype it without.")
        return text

    def to_representation(self, value: Any) -> str:
        return str(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        if direction == "response":
            return {"type": "string"}
        return {"type": "string", "maxLength": self.longest, **({} if self.blank else {"pattern": r"\S"})}


class WholeNumber(DescribedField):
    """A whole number between `least` and `most`; in JSON a number, never a text."""

    def __init__(self, *, least: int = 0, most: int = 2_147_483_647, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.most = least, most

    def to_internal_value(self, data: Any) -> int:
        if self.from_text and isinstance(data, str) and _WHOLE_TEXT.fullmatch(data):
            data = int(data)
        if isinstance(data, Decimal) and data == data.to_integral_value() and abs(data) < 10**18:
            data = int(data)
        if isinstance(data, bool) or not isinstance(data, int):
            raise self.refuse("Give this as a whole number, without quotes.")
        if not self.least <= data <= self.most:
            raise self.refuse(f"This must be between {self.least} and {self.most}.")
        return data

    def to_representation(self, value: Any) -> int:
        return int(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        bounds = {"minimum": self.least, "maximum": self.most} if direction == "request" else {}
        return {"type": "integer", **bounds}


class YesNo(DescribedField):
    """true or false, and nothing that merely looks like it."""

    def to_internal_value(self, data: Any) -> bool:
        if self.from_text and data in ("true", "false"):
            return bool(data == "true")
        if not isinstance(data, bool):
            raise self.refuse("Give this as true or false.")
        return data

    def to_representation(self, value: Any) -> bool:
        return bool(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "boolean"}


class Day(DescribedField):
    """A calendar day, such as 2026-03-01."""

    def to_internal_value(self, data: Any) -> date:
        if isinstance(data, str) and _DAY.fullmatch(data):
            try:
                return date.fromisoformat(data)
            except ValueError:
                pass
        raise self.refuse("Give this as a day of the calendar, like 2026-03-01.")

    def to_representation(self, value: date) -> str:
        return value.isoformat()

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "format": "date", "examples": ["2026-03-01"]}


class Moment(DescribedField):
    """A point in time, RFC 3339; read with any offset, written in UTC."""

    def to_internal_value(self, data: Any) -> datetime:
        if isinstance(data, str) and _MOMENT.fullmatch(data):
            try:
                moment = parse_datetime(data.upper())
                if moment is not None and 1 < moment.year < 9999:
                    return moment
            except ValueError:
                pass
        raise self.refuse("Give this as a time with its offset, like 2026-03-01T09:30:00Z.")

    def to_representation(self, value: datetime) -> str:
        return moment_text(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "format": "date-time", "examples": ["2026-03-01T09:30:00Z"]}


class OneOf(DescribedField):
    """One of a few words, `choices` being Django choices or plain strings."""

    def __init__(self, choices: Any, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.words = [str(word) for word in getattr(choices, "values", choices)]

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.words:
            raise self.refuse(f"This must be one of {', '.join(self.words)}.")
        return data

    def to_representation(self, value: Any) -> str:
        return str(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "enum": [*self.words, *([None] if self.allow_null else [])]}
