"""The shapes of grids: laid out before anything is written, drafted, and as they stand with their vials."""

from rest_framework.serializers import ListField

from batches.api.shapes import BatchOut, BenchLineOut
from inventory.api.lot_shapes import ClaimOut
from studio.api.fields import (
    Day,
    DecimalText,
    GramsField,
    Moment,
    NumberField,
    OneOf,
    PlainText,
    Shape,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField

SIDES = ["A", "B", "solvent"]
VIAL_STATES = ["open", "begun", "done", "over", "left out", "made"]


class RatioIn(Shape):
    a = DecimalText(digits=12, places=6, above=0)
    b = DecimalText(digits=12, places=6, above=0)


class GridIn(Shape):
    side_a = ListField(child=NumberField("lot"), allow_empty=False, max_length=30)
    side_b = ListField(child=NumberField("lot"), allow_empty=False, max_length=30)
    ratios = RatioIn(many=True, allow_empty=False, max_length=30)  # type: ignore[call-arg]
    vial_mass = GramsField()
    solvent = NumberField("lot", required=False, help_text="Adds controls: each lot alone, let down with it.")
    balance = IdField(required=False, help_text="The finest that carries a vial when left out.")


class GridDraftIn(GridIn):
    title = PlainText(longest=160, required=False)
    tolerance = DecimalText(digits=10, places=9, above=0, most=1, required=False)
    planned_on = Day(required=False, allow_null=True)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)
    reserve = YesNo(required=False, help_text="Reserve at once; all of it or nothing is done.")


class PortionOut(Shape):
    lot = NumberField("lot")
    side = OneOf(SIDES)
    mass = GramsField()
    strength = DecimalText(digits=12, places=9, help_text="In the finished vial.")


class GridVialOut(Shape):
    number = WholeNumber()
    portions = PortionOut(many=True)
    ratio = RatioIn(allow_null=True, help_text="Empty for a control.")


class StockTotalOut(Shape):
    lot = NumberField("lot")
    needed = GramsField()
    available = GramsField()
    short = GramsField()


class GridPourOut(Shape):
    lot = NumberField("lot")
    side = OneOf(SIDES)
    vials = ListField(child=WholeNumber())
    masses = ListField(child=GramsField())
    total = GramsField()


class SmallPourOut(Shape):
    vial = WholeNumber()
    lot = NumberField("lot")
    mass = GramsField()


class GridOut(Shape):
    vials = GridVialOut(many=True)
    totals = StockTotalOut(many=True)
    pours = GridPourOut(many=True, help_text="Each stock is taken in hand once.")
    too_small = SmallPourOut(many=True)
    smallest = GramsField(help_text="What the balance weighs well from.")
    vial_mass_that_weighs = GramsField()
    sentences = ListField(child=PlainText(longest=500))


class SideOut(Shape):
    lot = NumberField("lot", source="lot.number")
    lot_title = PlainText(longest=160, source="lot.title")
    planned_strength = DecimalText(digits=12, places=9, source="planned")
    actual_strength = DecimalText(
        digits=12, places=9, source="actual", allow_null=True, help_text="By its weighings so far."
    )
    standard_uncertainty = DecimalText(
        digits=15,
        places=12,
        source="uncertainty",
        allow_null=True,
        help_text="Once made, where the side is one material that the other side does not bring.",
    )


class VialOut(Shape):
    vial = WholeNumber(source="cell.number")
    attempt = WholeNumber(source="cell.attempt")
    ratio = PlainText(longest=30, source="cell.ratio", help_text="Side A to side B; empty for a control.")
    side_a = SideOut(allow_null=True)
    side_b = SideOut(allow_null=True)
    mass = GramsField(source="cell.mass", help_text="Wanted.")
    weighed = GramsField()
    state = OneOf(VIAL_STATES)
    words = PlainText(longest=1000)
    lines = ListField(child=WholeNumber(), source="positions", help_text="Of its pours in the batch.")
    made = NumberField("lot", source="cell.made.number", allow_null=True)
    left_out_at = Moment(source="cell.left_out_at", allow_null=True)
    left_out_by = PlainText(longest=120, source="cell.left_out_by.person.name", allow_null=True)
    left_out_why = PlainText(longest=1000, source="cell.left_out_why")


class StockInGridOut(Shape):
    lot = NumberField("lot", source="lot.number")
    lot_title = PlainText(longest=160, source="lot.title")
    side = OneOf(SIDES)
    target = GramsField()
    weighed = GramsField()
    vials = ListField(child=WholeNumber())


class GridInHandOut(Shape):
    batch = BatchOut()
    stocks = StockInGridOut(many=True, help_text="In the order they are taken in hand.")
    vials = VialOut(many=True, source="attempts", help_text="Every attempt, left out ones included.")
    lines = BenchLineOut(many=True, source="hand.lines")
    short_claims = ClaimOut(many=True, source="hand.short_claims")


class VialChangeIn(Shape):
    why = PlainText(longest=1000, lines=True)
