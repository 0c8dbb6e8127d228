"""Filters of lists, declared by name; what they read is as strict as a body."""

import re
from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from drf_spectacular.utils import extend_schema_field

from studio.api.ids import LARGEST_ID
from studio.kernel.errors import Invalid
from studio.kernel.mass import exact_mass
from studio.kernel.numbers import Sort, parse


class Filters(django_filters.FilterSet):
    """Base of the filters of a list. Declare every one: the names are a contract."""


class _GramsInput(forms.Field):
    def to_python(self, value: Any) -> Decimal | None:
        if value in self.empty_values:
            return None
        try:
            return exact_mass(str(value))
        except Invalid as refusal:
            raise ValidationError(refusal.message) from None


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
            raise ValidationError(refusal.message) from None


@extend_schema_field({"type": "string", "examples": ["26-0417-K"]})
class NumberTextFilter(django_filters.CharFilter):
    """The number of a lot or batch, in any of its written forms."""

    field_class = _NumberInput

    def __init__(self, *, sort: Sort, **kwargs: Any) -> None:
        super().__init__(sort=sort, **kwargs)
