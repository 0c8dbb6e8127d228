"""The shapes of suppliers, offers and purchases: what comes in, and, separately, what goes out."""

from rest_framework.serializers import ListField

from inventory.api.lot_shapes import LotOut
from inventory.api.shapes import EditionField
from inventory.models import PurchaseState
from studio.api.fields import (
    Day,
    DecimalText,
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

LONGEST_DELIVERY = 365
MOST_PACKS = 1000


class Price(DecimalText):
    """An amount in the studio's currency."""

    def __init__(self, digits: int = 12, **kwargs: object) -> None:
        super().__init__(digits=digits, places=4, least=0, **kwargs)  # type: ignore[arg-type]


class SupplierChange(Shape):
    name = PlainText(longest=120, required=False)
    delivery_days = WholeNumber(most=LONGEST_DELIVERY, required=False)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class SupplierIn(SupplierChange):
    name = PlainText(longest=120)


class SupplierOut(Shape):
    id = IdField()
    name = PlainText(longest=120)
    delivery_days = WholeNumber(help_text="Usually, where an offer says nothing else.")
    note = PlainText(longest=4000)
    edition = EditionField()


class OfferChange(Shape):
    price = Price(required=False, help_text="Of one pack.")
    delivery_days = WholeNumber(most=LONGEST_DELIVERY, required=False, allow_null=True)
    article = PlainText(longest=80, blank=True, required=False)


class OfferIn(OfferChange):
    supplier = IdField()
    material = IdField()
    strength = StrengthField(required=False, help_text="Left out, neat.")
    solvent = IdField(required=False, allow_null=True)
    pack = GramsField(help_text="Net of one pack.")
    from_packs = WholeNumber(
        least=1,
        most=MOST_PACKS,
        required=False,
        help_text="The price holds when at least so many are bought.",
    )
    price = Price(help_text="Of one pack.")


class OfferOut(Shape):
    id = IdField()
    supplier = IdField(source="supplier_id")
    supplier_name = PlainText(longest=120, source="supplier.name")
    material = IdField(source="material_id")
    material_name = PlainText(longest=120, source="material.name")
    strength = StrengthField()
    solvent = IdField(source="solvent_id", allow_null=True)
    pack = GramsField()
    from_packs = WholeNumber()
    price = Price()
    delivery_days = WholeNumber(allow_null=True, help_text="Empty: the supplier's usual ones.")
    article = PlainText(longest=80)
    withdrawn_at = Moment(allow_null=True)
    edition = EditionField()


class PurchaseIn(Shape):
    offer = IdField()
    packs = WholeNumber(least=1, most=MOST_PACKS)
    order_on = Day(required=False, help_text="Today when left out.")
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class PurchaseOut(Shape):
    id = IdField()
    offer = OfferOut()
    packs = WholeNumber()
    mass = GramsField(help_text="Net of all packs.")
    price = Price(digits=14, help_text="Of all packs.")
    order_on = Day()
    due_on = Day()
    state = OneOf(PurchaseState)
    note = PlainText(longest=4000)
    arrived_as = ListField(child=NumberField("lot"), help_text="The bottles it arrived as.")
    created_at = Moment()
    ordered_at = Moment(allow_null=True)
    ended_at = Moment(allow_null=True)
    edition = EditionField()


class OrderIn(Shape):
    due_on = Day(
        required=False, allow_null=True, help_text="As the supplier says; left out, by the days of delivery."
    )


class DropIn(Shape):
    why = PlainText(longest=1000, blank=True, required=False)


class ArrivalIn(Shape):
    supplier_lot = PlainText(longest=80, blank=True, required=False)
    purity = StrengthField(required=False, allow_null=True)
    expires_on = Day(required=False, allow_null=True)
    received_at = Moment(required=False)
    shelf = IdField(required=False, allow_null=True)
    tare = GramsField(required=False, allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, above=0, required=False, allow_null=True)


class ArrivalOut(Shape):
    purchase = PurchaseOut()
    bottles = LotOut(many=True)
