"""The fields of forms: what a person may type, before any action sees it.

They read what the shapes of the API read and hand on the same values: grams and strengths as exact `Decimal`s. What a
person types as a strength is percent, because that is what stands on the labels. Widgets are plain text fields: number
fields of browsers round, take a wheel's turn for a change, and read a comma as they please.
"""

import unicodedata
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_date, parse_datetime

from studio.kernel.errors import Invalid
from studio.kernel.mass import exact_mass, exact_strength, finite_decimal, positive_mass

NEEDED = {"required": "This is needed."}


class _Typed(forms.Field):
    """A field whose text is read by `read`, which refuses as the kernel does."""

    attributes: dict[str, str] = {}

    def __init__(self, **told: Any) -> None:
        told.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", **self.attributes}))
        super().__init__(error_messages=NEEDED, **told)

    def read(self, text: str) -> Any:
        """The value the text stands for; raises `Invalid` with what is wrong with it."""
        raise NotImplementedError

    def to_python(self, value: Any) -> Any:
        text = str(value or "").strip()
        if not text:
            return None
        try:
            return self.read(text)
        except Invalid as refusal:
            raise ValidationError(refusal.message) from None


FIGURE = {"inputmode": "decimal", "class": "figure", "spellcheck": "false"}


class Grams(_Typed):
    """A mass in grams, on the microgram grid; above zero unless `zero`."""

    attributes = FIGURE

    def __init__(self, *, zero: bool = False, **told: Any) -> None:
        self.zero = zero
        super().__init__(**told)

    def read(self, text: str) -> Decimal:
        return exact_mass(text) if self.zero else positive_mass(text)


class Percent(_Typed):
    """A strength typed in percent: "10" is the fraction 0.1."""

    attributes = FIGURE

    def read(self, text: str) -> Decimal:
        percent = finite_decimal(text.removesuffix("%").strip(), "the percentage")
        if not 0 < percent <= 100:
            raise Invalid(f"A percentage lies above 0 and goes up to 100, not {percent}.")
        return exact_strength(percent / 100)


class Fraction(_Typed):
    """A strength as the API and its sheets have it: a mass fraction."""

    attributes = FIGURE

    def read(self, text: str) -> Decimal:
        return exact_strength(text)


class Number(_Typed):
    """A plain number, with at most `places` decimal places and between its bounds."""

    attributes = FIGURE

    def __init__(
        self,
        *,
        places: int = 3,
        above: Decimal | int | None = None,
        least: Decimal | int | None = None,
        most: Decimal | int = 10**9,
        **told: Any,
    ) -> None:
        self.places, self.above, self.least, self.most = places, above, least, most
        super().__init__(**told)

    def read(self, text: str) -> Decimal:
        number = finite_decimal(text, "the number")
        if self.above is not None and number <= self.above:
            raise Invalid(f"This must be more than {self.above}.")
        if self.least is not None and number < self.least:
            raise Invalid(f"This must be at least {self.least}.")
        if number > self.most:
            raise Invalid(f"This must be at most {self.most}.")
        if number != round(number, self.places):
            places = f"at most {self.places} decimal places" if self.places else "no decimal places"
            raise Invalid(f"Give this with {places}.")
        return round(number, self.places)


class Whole(Number):
    """A whole number."""

    attributes = {**FIGURE, "inputmode": "numeric"}

    def __init__(self, **told: Any) -> None:
        super().__init__(places=0, **told)

    def read(self, text: str) -> int:  # type: ignore[override]
        return int(super().read(text))


class Text(_Typed):
    """A text in its composed form, without control characters; lines only where they are asked for."""

    def __init__(self, *, longest: int, lines: bool = False, **told: Any) -> None:
        self.longest, self.lines = longest, lines
        if lines:
            told.setdefault("widget", forms.Textarea(attrs={"rows": "3"}))
        super().__init__(**told)

    def to_python(self, value: Any) -> str:
        return super().to_python(value) or ""

    def read(self, text: str) -> str:
        text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").strip())
        allowed = "\n\t" if self.lines else ""
        if any(unicodedata.category(letter) == "Cc" and letter not in allowed for letter in text):
            raise Invalid("There is a character in this that cannot be kept; type it again.")
        if len(text) > self.longest:
            raise Invalid(f"At most {self.longest} characters are kept; this has {len(text)}.")
        return text


class Day(_Typed):
    """A date."""

    def __init__(self, **told: Any) -> None:
        told.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        super().__init__(**told)

    def read(self, text: str) -> date:
        try:
            found = parse_date(text)
        except ValueError:
            found = None
        if found is None:
            raise Invalid("Give a day as 2026-03-31.")
        return found


class Moment(_Typed):
    """A date and time of day, in UTC."""

    def __init__(self, **told: Any) -> None:
        told.setdefault(
            "widget", forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
        )
        super().__init__(**told)

    def read(self, text: str) -> datetime:
        try:
            found = parse_datetime(text)
        except ValueError:
            found = None
        if found is None:
            raise Invalid("Give a time as 2026-03-31T14:05.")
        return found if found.tzinfo else found.replace(tzinfo=UTC)


class Named(_Typed):
    """A thing of the studio, typed by its name with suggestions; `offer` says which there are."""

    def __init__(self, what: str, **told: Any) -> None:
        self.what = what
        self.rows: Mapping[str, Any] = {}
        super().__init__(**told)

    def offer(self, rows: Iterable[Any]) -> None:
        """The rows that can be named; their text is their name, in any case."""
        self.rows = {str(row).casefold(): row for row in rows}

    @property
    def names(self) -> list[str]:
        """What the suggestions are."""
        return [str(row) for row in self.rows.values()]

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        bound = super().get_bound_field(form, field_name)
        self.widget.attrs["list"] = f"{bound.auto_id}_names"
        return bound

    def prepare_value(self, value: Any) -> Any:
        return value if value is None else str(value)

    def read(self, text: str) -> Any:
        row = self.rows.get(text.casefold())
        if row is None:
            raise Invalid(f"There is no {self.what} “{text[:80]}” here. Choose one of the suggestions.")
        return row


class Picked(forms.Field):
    """A thing of the studio, picked from a short list; `offer` says which there are."""

    def __init__(self, what: str, *, nothing: str = "", **told: Any) -> None:
        self.what, self.nothing = what, nothing
        self.rows: Mapping[str, Any] = {}
        super().__init__(widget=forms.Select(), error_messages=NEEDED, **told)

    def offer(self, rows: Iterable[Any]) -> None:
        """The rows that can be picked, in order."""
        self.rows = {str(row.pk): row for row in rows}
        first = [] if self.required else [("", self.nothing)]
        self.widget.choices = first + [(key, str(row)) for key, row in self.rows.items()]

    def prepare_value(self, value: Any) -> Any:
        return getattr(value, "pk", value)

    def to_python(self, value: Any) -> Any:
        if not value:
            return None
        row = self.rows.get(str(value))
        if row is None:
            raise ValidationError(f"There is no such {self.what} here any more. Choose another.")
        return row


class Choice(forms.ChoiceField):
    """One of a few words."""

    def __init__(self, choices: Iterable[tuple[str, str]], **told: Any) -> None:
        told.setdefault("error_messages", NEEDED)
        super().__init__(choices=list(choices), **told)


class YesNo(forms.BooleanField):
    """A tick."""

    def __init__(self, **told: Any) -> None:
        super().__init__(required=False, **told)


class Secret(forms.CharField):
    """A password: taken as it is, and never shown again."""

    def __init__(self, **told: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
        super().__init__(strip=False, max_length=4096, widget=widget, error_messages=NEEDED, **told)


class Sheet(forms.FileField):
    """A CSV file."""

    def __init__(self, **told: Any) -> None:
        super().__init__(
            widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}),
            error_messages={**NEEDED, "empty": "The file is empty."},
            **told,
        )
