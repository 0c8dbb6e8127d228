"""Materials and bottles as rows of a sheet: what their lists export, in columns that an import takes again.

A bottle goes out as it stands now: the mass is what is left in it, the strength what it has become, and the price what
the rest of it cost, so that importing the sheet elsewhere receives just that.
"""

from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from inventory.models import Lot, MaterialKind
from studio.api.fields import (
    Day,
    DecimalText,
    DescribedField,
    Direction,
    GramsField,
    Moment,
    NumberField,
    OneOf,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
)
from studio.api.ids import IdField

PRICE_STEP = Decimal("0.0001")


class TextField(DescribedField):
    """A cell of text worked out from the row."""

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string"}


class Words(TextField):
    """A list as words parted by spaces."""

    def to_representation(self, value: list[str]) -> str:
        return " ".join(value)


class SolventLeft(TextField):
    """The solvent of a bottle, empty when it has become neat."""

    def to_representation(self, value: Lot) -> str:
        return value.solvent.name if value.solvent and value.actual_strength != 1 else ""


class PriceOfRest(TextField):
    """What the rest of a bottle cost, to the places a price is entered with; empty when nobody knows."""

    def to_representation(self, value: Lot) -> str:
        if value.cost_per_gram is None:
            return ""
        return f"{nearest_price(value.cost_per_gram * value.on_hand):f}"


def nearest_price(amount: Decimal) -> Decimal:
    """Half-even to four places, which is what a price is entered with."""
    return amount.quantize(PRICE_STEP, rounding=ROUND_HALF_EVEN)


class MaterialSheetOut(Shape):
    id = IdField()
    name = PlainText(longest=120)
    kind = OneOf(MaterialKind)
    cas = PlainText(longest=12)
    synonyms = PlainText(longest=300)
    density_g_ml = DecimalText(digits=8, places=6, allow_null=True)
    flash_point_c = DecimalText(digits=6, places=1, allow_null=True)
    hazards = Words()
    shelf_life_days = WholeNumber(allow_null=True)
    stock_shelf_life_days = WholeNumber(allow_null=True)
    making_days = WholeNumber()
    resting_days = WholeNumber()
    largest_stock = GramsField(allow_null=True)
    note = PlainText(longest=4000)


class BottleSheetOut(Shape):
    number = NumberField("lot")
    title = PlainText(longest=160)
    material = PlainText(longest=120, source="material.name")
    mass = GramsField(source="on_hand")
    strength = StrengthField(source="actual_strength")
    solvent = SolventLeft(source="*")
    purity = StrengthField(allow_null=True)
    tare = GramsField(allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, allow_null=True)
    supplier = PlainText(longest=120)
    supplier_lot = PlainText(longest=80)
    price = PriceOfRest(source="*")
    received_at = Moment(source="made_at")
    expires_on = Day(allow_null=True)
    shelf = PlainText(longest=80, source="shelf.name", allow_null=True)
    keeper = PlainText(longest=120, source="keeper.person.name", allow_null=True)
    note = PlainText(longest=4000)
    declared_strength = StrengthField()
    reserved = GramsField()
    available = GramsField()
    opened_at = Moment(allow_null=True)
    emptied_at = Moment(allow_null=True)
    hold_reason = PlainText(longest=4000)
