"""Filters of the lists of formulas and batches."""

import django_filters
from django.db.models import Q, QuerySet

from batches.models import Batch, BatchKind, BatchState, Formula
from studio.api.filters import Filters


class FormulaFilters(Filters):
    is_base = django_filters.BooleanFilter(field_name="base", lookup_expr="isnull", exclude=True)
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Formula
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        for word in value.split():
            rows = rows.filter(Q(name__icontains=word) | Q(code__icontains=word))
        return rows


class BatchFilters(Filters):
    state = django_filters.MultipleChoiceFilter(choices=BatchState.choices)
    kind = django_filters.MultipleChoiceFilter(choices=BatchKind.choices)
    formula = django_filters.CharFilter(field_name="version__formula__code", max_length=40)
    material = django_filters.NumberFilter(field_name="material_id", min_value=1, max_value=2**63 - 1)
    planned_before = django_filters.DateFilter(field_name="planned_on", lookup_expr="lt")
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Batch
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        for word in value.split():
            rows = rows.filter(Q(title__icontains=word) | Q(number__icontains=word))
        return rows
