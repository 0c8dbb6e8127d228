"""Filters of lists, declared by name; what they read is as strict as a body."""

import re
from collections.abc import Callable
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from drf_spectacular.drainage import set_override
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from studio.api.fields import Day, DescribedField, GramsField, Moment
from studio.api.ids import LARGEST_ID
from studio.kernel.errors import Invalid
from studio.kernel.numbers import Sort, compose, parse


class Filters(django_filters.FilterSet):
    """Base of the filters of a list. Declare every one: the names are a contract."""

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        for one in cls.declared_filters.values():
            if isinstance(one, (django_filters.ChoiceFilter, django_filters.MultipleChoiceFilter)):
                words = ", ".join(str(word) for word, _ in one.extra["choices"])
                one.extra["error_messages"] = {"invalid_choice": f"This must be one of {words}."}
            if isinstance(one, django_filters.MultipleChoiceFilter):
                # A choice of the row's own words doubles no row; making rows distinct would sort them all for one page.
                one.distinct = False


def as_it_stands(sentences: list[str]) -> ValidationError:
    """A fault whose sentences may repeat what was said, per cent signs too: they are filled in, not a pattern."""
    return ValidationError([ValidationError("%(said)s", params={"said": said}) for said in sentences])


class _ShapedInput(forms.Field):
    """Reads what a field of a shape reads, so that a filter takes a value just as a body does."""

    reads: Callable[[], DescribedField]

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        try:
            return type(self).reads().to_internal_value(value)
        except serializers.ValidationError as fault:
            raise as_it_stands([str(sentence) for sentence in fault.detail]) from None


def _mass() -> GramsField:
    field = GramsField(zero=True)
    field.field_name = "mass"
    return field


class _GramsInput(_ShapedInput):
    reads = _mass


@extend_schema_field({"type": "string", "pattern": r"^(0|[1-9]\d{0,6})(\.\d{1,6})?$", "examples": ["2.5"]})
class GramsFilter(django_filters.Filter):
    """A mass in grams, zero included."""

    field_class = _GramsInput


class _IdInput(forms.Field):
    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        if not re.fullmatch(r"[1-9][0-9]{0,18}", str(value)) or int(value) > LARGEST_ID:
            raise ValidationError("This is no id.")
        return int(value)


@extend_schema_field({"type": "string", "pattern": r"^[1-9]\d{0,18}$", "examples": ["12"]})
class IdFilter(django_filters.Filter):
    """The opaque id of another thing."""

    field_class = _IdInput


class _DayInput(_ShapedInput):
    reads = Day


class _MomentInput(_ShapedInput):
    reads = Moment


@extend_schema_field({"type": "string", "format": "date", "examples": ["2026-03-01"]})
class DayFilter(django_filters.Filter):
    """A calendar day, as in a body."""

    field_class = _DayInput


@extend_schema_field({"type": "string", "format": "date-time", "examples": ["2026-03-01T09:30:00Z"]})
class MomentFilter(django_filters.Filter):
    """A point in time with its offset, as in a body."""

    field_class = _MomentInput


class _NumberInput(forms.CharField):
    def __init__(self, *, sort: Sort, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.sort = sort

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if not text:
            return ""
        try:
            return parse(self.sort, text)
        except Invalid as refusal:
            raise as_it_stands([refusal.message]) from None


class NumberTextFilter(django_filters.CharFilter):
    """The number of a lot or batch, in any of its written forms."""

    field_class = _NumberInput

    def __init__(self, *, sort: Sort, **kwargs: Any) -> None:
        super().__init__(sort=sort, **kwargs)
        set_override(self, "field", {"type": "string", "examples": [compose(sort, 26, 417)]})
