"""The shapes of bottles, lots, movements and traces."""

from rest_framework.serializers import ListField

from inventory.api.shapes import EditionField
from inventory.models import LotKind, Reason
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
    YesNo,
)
from studio.api.ids import IdField


class BottleIn(Shape):
    material = IdField()
    mass = GramsField(help_text="Net.")
    strength = StrengthField(required=False, help_text="1, neat, when left out.")
    solvent = IdField(required=False, help_text="What makes up the rest of a bottle below full strength.")
    purity = StrengthField(required=False, allow_null=True, help_text="As its paper declares it.")
    tare = GramsField(required=False, allow_null=True, help_text="The empty container with its closure.")
    capacity_ml = DecimalText(digits=9, places=3, above=0, required=False, allow_null=True)
    supplier = PlainText(longest=120, blank=True, required=False)
    supplier_lot = PlainText(longest=80, blank=True, required=False)
    price = DecimalText(digits=12, places=4, least=0, required=False, allow_null=True)
    received_at = Moment(required=False)
    expires_on = Day(required=False, allow_null=True)
    shelf = IdField(required=False, allow_null=True)
    keeper = IdField(required=False, allow_null=True)
    title = PlainText(
        longest=160, required=False, help_text="On its label; the material's name when left out."
    )
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class LotOut(Shape):
    number = NumberField("lot")
    kind = OneOf(LotKind)
    title = PlainText(longest=160)
    material = IdField(source="material_id", allow_null=True)
    material_name = PlainText(longest=120, source="material.name", allow_null=True)
    solvent = IdField(source="solvent_id", allow_null=True)
    solvent_name = PlainText(longest=120, source="solvent.name", allow_null=True)
    declared_strength = StrengthField(allow_null=True)
    actual_strength = StrengthField(allow_null=True)
    strength_uncertainty = DecimalText(digits=13, places=12, source="strength_u", allow_null=True)
    on_hand = GramsField()
    reserved = GramsField()
    available = GramsField()
    made_mass = GramsField()
    tare = GramsField(allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, allow_null=True)
    shelf = IdField(source="shelf_id", allow_null=True)
    shelf_name = PlainText(longest=80, source="shelf.name", allow_null=True)
    keeper = IdField(source="keeper_id", allow_null=True)
    keeper_name = PlainText(longest=120, source="keeper.person.name", allow_null=True)
    ask_above = GramsField(
        allow_null=True, help_text="Grams beyond which others ask the keeper before they claim or draw off."
    )
    supplier = PlainText(longest=120)
    supplier_lot = PlainText(longest=80)
    purity = StrengthField(allow_null=True)
    cost_per_gram = DecimalText(digits=20, places=9, allow_null=True)
    made_in = PlainText(longest=20, help_text="Number of the batch it was made in.")
    made_at = Moment()
    recorded_at = Moment()
    expires_on = Day(allow_null=True)
    opened_at = Moment(allow_null=True)
    emptied_at = Moment(allow_null=True)
    held_at = Moment(allow_null=True)
    hold_reason = PlainText(longest=4000)
    note = PlainText(longest=4000)
    edition = EditionField()


class LotChange(Shape):
    title = PlainText(longest=160, required=False)
    shelf = IdField(required=False, allow_null=True)
    keeper = IdField(required=False, allow_null=True)
    ask_above = GramsField(zero=True, required=False, allow_null=True)
    tare = GramsField(required=False, allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, above=0, required=False, allow_null=True)
    expires_on = Day(required=False, allow_null=True)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class ContentOut(Shape):
    material = IdField()
    name = PlainText(longest=120)
    kind = PlainText(longest=10)
    fraction = DecimalText(digits=10, places=9)
    standard_uncertainty = DecimalText(digits=13, places=12, allow_null=True)
    mass = GramsField(help_text="In what is on hand now.")


class ContentsOut(Shape):
    lot = NumberField("lot")
    revision = WholeNumber()
    contents = ContentOut(many=True)


class CautionReasonOut(Shape):
    materials = ListField(child=PlainText(longest=120))
    source = PlainText(longest=300)
    sentence = PlainText(longest=600)


class CautionOut(Shape):
    code = PlainText(longest=10)
    text = PlainText(longest=300)
    caution = PlainText(longest=300)
    reasons = CautionReasonOut(many=True)


class FlammablePartOut(Shape):
    material = PlainText(longest=120)
    fraction = DecimalText(digits=10, places=9)
    category = WholeNumber()
    sentence = PlainText(longest=600)


class CautionsOut(Shape):
    cautions = CautionOut(many=True)
    flammable_parts = FlammablePartOut(many=True)
    flash_point_note = PlainText(longest=600)
    words = PlainText(longest=300, help_text="Always to be shown with the cautions.")


class TracedLotOut(Shape):
    number = NumberField("lot", source="lot.number")
    kind = OneOf(LotKind, source="lot.kind")
    title = PlainText(longest=160, source="lot.title")
    strength = StrengthField(source="lot.strength", allow_null=True)
    supplier = PlainText(longest=120, source="lot.supplier")
    supplier_lot = PlainText(longest=80, source="lot.supplier_lot")
    made_in = PlainText(longest=20, source="lot.made_in")
    on_hand = GramsField(source="lot.on_hand")
    held = YesNo(source="lot.held")
    generation = WholeNumber()
    mass = GramsField(
        help_text="Back: grams of this lot behind the traced one. Forward: grams of the traced lot in this one."
    )


class TracedPourOut(Shape):
    source = NumberField("lot")
    target = NumberField("lot")
    mass = GramsField()


class TraceOut(Shape):
    lot = NumberField("lot", source="lot.number")
    title = PlainText(longest=160, source="lot.title")
    direction = OneOf(["back", "forward"])
    mass = GramsField(source="lot.made_mass")
    lots = TracedLotOut(many=True)
    pours = TracedPourOut(many=True)


class TraceAsk(Shape):
    direction = OneOf(["back", "forward"], required=False)


class CountIn(Shape):
    gross = GramsField(zero=True, help_text="The container with what is in it.")
    tare = GramsField(required=False, help_text="The empty container, when it is not known yet.")
    loss = OneOf(["spilled", "evaporated"], required=False)
    at = Moment(required=False)
    why = PlainText(longest=1000, lines=True, blank=True, required=False)


class CountOut(Shape):
    book = GramsField()
    found = GramsField()
    lot = LotOut()


class DiscardIn(Shape):
    mass = GramsField(required=False, help_text="All of it when left out.")
    why = PlainText(longest=1000, lines=True)
    despite_claims = YesNo(required=False)
    at = Moment(required=False)


class HoldIn(Shape):
    why = PlainText(longest=1000, lines=True)
    descendants = YesNo(required=False, help_text="Hold everything made of it as well.")


class HoldOut(Shape):
    held = ListField(child=NumberField("lot"))
    descendants = TracedLotOut(many=True)
    open_batches = ListField(child=NumberField("batch"))


class ReleaseIn(Shape):
    why = PlainText(longest=1000, lines=True)


class DrawOffIn(Shape):
    mass = GramsField()
    kind = OneOf([LotKind.VIAL.value, "same"], required=False)
    title = PlainText(longest=160, blank=True, required=False)
    tare = GramsField(required=False, allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, above=0, required=False, allow_null=True)
    shelf = IdField(required=False, allow_null=True)
    keeper = IdField(required=False, allow_null=True)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)
    at = Moment(required=False)
    expired_reason = PlainText(longest=1000, lines=True, blank=True, required=False)


class MoveIn(Shape):
    shelf = IdField(required=False, allow_null=True)
    keeper = IdField(required=False, allow_null=True)


class MovementOut(Shape):
    id = IdField()
    at = Moment()
    recorded_at = Moment()
    reason = OneOf(Reason)
    mass = GramsField()
    source = NumberField("lot", source="source.number", allow_null=True)
    target = NumberField("lot", source="target.number", allow_null=True)
    batch = PlainText(longest=20)
    why = PlainText(longest=4000)
    by = PlainText(longest=120, source="by.person.name")
    reverses = IdField(source="reverses_id", allow_null=True)


class ReverseIn(Shape):
    why = PlainText(longest=1000, lines=True)


class ClaimOut(Shape):
    lot = NumberField("lot", source="lot.number")
    purpose = NumberField("batch")
    asked = GramsField()
    poured = GramsField()
    mass = GramsField()
    short = GramsField(help_text="What the lot no longer holds of it, older claims first.")
    made_at = Moment()
    by = PlainText(longest=120, source="by.person.name")


class ClaimsOut(Shape):
    items = ClaimOut(many=True)
