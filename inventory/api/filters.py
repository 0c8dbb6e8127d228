"""Filters of the lists of materials, lots and movements."""

import django_filters
from django.db.models import ExpressionWrapper, F, Q, QuerySet

from inventory.models import (
    Lot,
    LotKind,
    Material,
    MaterialKind,
    Movement,
    Offer,
    Par,
    Purchase,
    PurchaseState,
    Reason,
)
from inventory.queries.finding import lots_matching, materials_matching
from studio.api.filters import DayFilter, Filters, GramsFilter, IdFilter, MomentFilter, NumberTextFilter
from studio.api.permissions import acting_member
from studio.kernel.mass_field import MassField

FREE = ExpressionWrapper(F("on_hand") - F("reserved"), output_field=MassField())
"""Grams; without saying so a difference of masses is a plain number of micrograms."""


class MaterialFilters(Filters):
    kind = django_filters.MultipleChoiceFilter(choices=MaterialKind.choices)
    cas = django_filters.CharFilter(field_name="cas", max_length=12)
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Material
        fields: list[str] = []

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return materials_matching(rows, value)


class LotFilters(Filters):
    kind = django_filters.MultipleChoiceFilter(choices=LotKind.choices)
    material = IdFilter(field_name="material_id")
    shelf = IdFilter(field_name="shelf_id")
    keeper = IdFilter(field_name="keeper_id")
    contains = IdFilter(method="by_content")
    open = django_filters.BooleanFilter(field_name="emptied_at", lookup_expr="isnull")
    held = django_filters.BooleanFilter(field_name="held_at", lookup_expr="isnull", exclude=True)
    expires_before = DayFilter(field_name="expires_on", lookup_expr="lt")
    made_in = NumberTextFilter(sort="batch", field_name="made_in")
    available_lt = GramsFilter(method="by_available_lt")
    available_gte = GramsFilter(method="by_available_gte")
    search = django_filters.CharFilter(method="by_words", max_length=120)

    class Meta:
        model = Lot
        fields: list[str] = []

    def by_content(self, rows: QuerySet, name: str, value: object) -> QuerySet:
        return rows.filter(
            contents__material_id=value,
            contents__revision=F("contents_revision"),
            contents__fraction__gt=0,
        )

    def by_available_lt(self, rows: QuerySet, name: str, value: object) -> QuerySet:
        return rows.annotate(free=FREE).filter(free__lt=value)

    def by_available_gte(self, rows: QuerySet, name: str, value: object) -> QuerySet:
        return rows.annotate(free=FREE).filter(free__gte=value)

    def by_words(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return lots_matching(rows, value, acting_member(self.request).studio)


class MovementFilters(Filters):
    lot = NumberTextFilter(sort="lot", method="by_lot")
    batch = NumberTextFilter(sort="batch", field_name="batch")
    reason = django_filters.MultipleChoiceFilter(choices=Reason.choices)
    since = MomentFilter(field_name="at", lookup_expr="gte")
    until = MomentFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = Movement
        fields: list[str] = []

    def by_lot(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return rows.filter(Q(source__number=value) | Q(target__number=value))


class ParFilters(Filters):
    material = IdFilter(field_name="material_id")
    solvent = IdFilter(field_name="solvent_id")

    class Meta:
        model = Par
        fields: list[str] = []


class OfferFilters(Filters):
    material = IdFilter(field_name="material_id")
    supplier = IdFilter(field_name="supplier_id")
    standing = django_filters.BooleanFilter(field_name="withdrawn_at", lookup_expr="isnull")

    class Meta:
        model = Offer
        fields: list[str] = []


class PurchaseFilters(Filters):
    state = django_filters.MultipleChoiceFilter(choices=PurchaseState.choices)
    material = IdFilter(field_name="offer__material_id")
    supplier = IdFilter(field_name="offer__supplier_id")
    due_before = DayFilter(field_name="due_on", lookup_expr="lt")

    class Meta:
        model = Purchase
        fields: list[str] = []
