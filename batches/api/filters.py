"""Filters of the lists of formulas and batches."""

import django_filters
from django.db.models import QuerySet

from batches.models import Batch, BatchKind, BatchState, Formula
from batches.queries.finding import batches_matching, formulas_matching
from studio.api.filters import DayFilter, Filters, IdFilter


class FormulaFilters(Filters):
    is_base = django_filters.BooleanFilter(field_name="base", lookup_expr="isnull", exclude=True)
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Formula
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return formulas_matching(rows, value)


class GridFilters(Filters):
    state = django_filters.MultipleChoiceFilter(choices=BatchState.choices)
    planned_before = DayFilter(field_name="planned_on", lookup_expr="lt")
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Batch
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return batches_matching(rows, value)


class BatchFilters(Filters):
    state = django_filters.MultipleChoiceFilter(choices=BatchState.choices)
    kind = django_filters.MultipleChoiceFilter(choices=BatchKind.choices)
    formula = django_filters.CharFilter(
        field_name="version__formula__code", lookup_expr="iexact", max_length=40
    )
    material = IdFilter(field_name="material_id")
    planned_before = DayFilter(field_name="planned_on", lookup_expr="lt")
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Batch
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return batches_matching(rows, value)
