"""The shapes of formulas and batches: what comes in, and, separately, what goes out."""

from typing import Any, get_args

from rest_framework.serializers import ListField

from batches.actions.formulas import MOST_LINES
from batches.calc.overpour import Way
from batches.models import BatchKind, BatchState, LotTold, ReadingSource, RefusedFor
from batches.models.making import COST_DIGITS
from inventory.api.lot_shapes import ClaimOut, LotOut
from inventory.api.shapes import EditionField
from inventory.api.sharing_shapes import RequestOut
from studio.api.fields import (
    Day,
    DecimalText,
    Direction,
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

WAYS = get_args(Way)
RESERVED_CODES = frozenset({"import"})
CODE_HINT = "Letters, digits, hyphens and points; how the formula is addressed."


class CodeField(PlainText):
    """A formula's code: short, and safe in an address."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(longest=40, **{"help_text": CODE_HINT, **kwargs})

    def to_internal_value(self, data: object) -> str:
        text = super().to_internal_value(data)
        if not all(letter.isascii() and (letter.isalnum() or letter in "-.") for letter in text):
            raise self.refuse("A code has only letters a to z, digits, hyphens and points.")
        if text.lower() in RESERVED_CODES:
            raise self.refuse(f"“{text}” is taken by an address of the service; give another code.")
        return text.lower()

    def described(self, direction: Direction) -> dict[str, Any]:
        told = {"pattern": r"^\s*[A-Za-z0-9.-]+\s*$", "examples": ["accord-1"]}
        return {**super().described(direction), **(told if direction == "request" else {})}


class LineIn(Shape):
    material = IdField()
    parts = DecimalText(digits=18, places=6, above=0)
    strength = StrengthField(
        required=False, help_text="The dilution as written; left out, neat, or a base at its own."
    )
    solvent = IdField(required=False, allow_null=True)


class LineOut(Shape):
    position = WholeNumber()
    material = IdField(source="material_id")
    name = PlainText(longest=120, source="material.name")
    kind = PlainText(longest=10, source="material.kind")
    strength = StrengthField()
    solvent = IdField(source="solvent_id", allow_null=True)
    solvent_name = PlainText(longest=120, source="solvent.name", allow_null=True)
    parts = DecimalText(digits=18, places=6)


class FormulaIn(Shape):
    code = CodeField()
    name = PlainText(longest=120)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)
    lines = LineIn(many=True, allow_empty=False, max_length=MOST_LINES)  # type: ignore[call-arg]


class LotFormulaIn(Shape):
    code = CodeField()
    name = PlainText(longest=120, required=False, help_text="Of a new formula; the lot's title if left out.")
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class FormulaChange(Shape):
    name = PlainText(longest=120, required=False)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class FormulaOut(Shape):
    code = PlainText(longest=40)
    name = PlainText(longest=120)
    note = PlainText(longest=4000)
    last_version = WholeNumber()
    base = IdField(source="base_id", allow_null=True, help_text="The material it was adopted as.")
    base_name = PlainText(longest=120, source="base.name", allow_null=True)
    adopted_version = WholeNumber(source="adopted.number", allow_null=True)
    created_at = Moment()
    edition = EditionField()


class VersionIn(Shape):
    lines = LineIn(many=True, allow_empty=False, max_length=MOST_LINES)  # type: ignore[call-arg]
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class VersionOut(Shape):
    formula = PlainText(longest=40, source="formula.code")
    number = WholeNumber()
    note = PlainText(longest=4000)
    fixed_at = Moment(
        allow_null=True, help_text="Since then a batch or a base stands on it; it never changes."
    )
    by = PlainText(longest=120, source="by.person.name")
    created_at = Moment()
    lines = LineOut(many=True)
    edition = EditionField()


class DiffAsk(Shape):
    with_version = WholeNumber(
        least=1, required=False, help_text="The other version; the one before when left out."
    )


class DifferenceOut(Shape):
    material = IdField()
    name = PlainText(longest=120)
    strength = StrengthField()
    solvent_name = PlainText(longest=120, allow_null=True)
    before = DecimalText(digits=18, places=6, allow_null=True)
    after = DecimalText(digits=18, places=6, allow_null=True)
    change = OneOf(["added", "dropped", "kept", "more", "less"])


class DiffOut(Shape):
    formula = PlainText(longest=40)
    before = WholeNumber(allow_null=True, help_text="Null where there is no version before.")
    after = WholeNumber()
    lines = DifferenceOut(many=True)


class AdoptIn(Shape):
    name = PlainText(longest=120, required=False, help_text="Of the base; the formula's when left out.")


class BoundIn(Shape):
    solvent = IdField()
    least = DecimalText(digits=10, places=9, least=0, most=1, required=False)
    most = DecimalText(digits=10, places=9, least=0, most=1, required=False)


class BatchIn(Shape):
    formula = CodeField(required=False, help_text="For a blend or base.")
    version = WholeNumber(least=1, required=False, help_text="The last one when left out.")
    material = IdField(required=False, help_text="For a stock.")
    solvent = IdField(required=False, help_text="For a stock.")
    mass = GramsField(help_text="Total wanted.")
    strength = StrengthField(required=False, help_text="Wanted; as written when left out.")
    title = PlainText(longest=160, required=False)
    solvent_bounds = BoundIn(many=True, required=False, max_length=20)  # type: ignore[call-arg]
    vessel_capacity = GramsField(required=False, allow_null=True)
    balance = IdField(required=False, allow_null=True)
    tolerance = DecimalText(digits=10, places=9, above=0, most=1, required=False)
    planned_on = Day(required=False, allow_null=True)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)
    reserve = YesNo(required=False, help_text="Reserve at once; all of it or nothing is done.")


class BatchChange(Shape):
    planned_on = Day(allow_null=True, help_text="The day it is to be made on; null for no day yet.")


class BatchOut(Shape):
    number = NumberField("batch")
    kind = OneOf(BatchKind)
    state = OneOf(BatchState)
    title = PlainText(longest=160)
    formula = PlainText(longest=40, source="version.formula.code", allow_null=True)
    version = WholeNumber(source="version.number", allow_null=True)
    material = IdField(source="material_id", allow_null=True)
    material_name = PlainText(longest=120, source="material.name", allow_null=True)
    solvent = IdField(source="solvent_id", allow_null=True)
    mass = GramsField()
    strength = StrengthField(allow_null=True)
    tolerance = DecimalText(digits=10, places=9)
    vessel_capacity = GramsField(allow_null=True)
    balance = IdField(source="balance_id", allow_null=True)
    planned_on = Day(allow_null=True)
    note = PlainText(longest=4000)
    by = PlainText(longest=120, source="by.person.name")
    created_at = Moment()
    reserved_at = Moment(allow_null=True)
    weighing_at = Moment(allow_null=True)
    ended_at = Moment(allow_null=True)
    ended_why = PlainText(longest=4000)
    made = NumberField("lot", source="made.number", allow_null=True)
    planned_cost = DecimalText(digits=COST_DIGITS, places=4, allow_null=True)
    actual_cost = DecimalText(digits=COST_DIGITS, places=4, allow_null=True)
    edition = EditionField()


class BenchLineOut(Shape):
    position = WholeNumber(source="line.position")
    material = IdField(
        source="line.material_id", allow_null=True, help_text="Null for a pour that is not of one material."
    )
    name = PlainText(longest=160, source="line.name")
    vial = WholeNumber(
        source="line.cell.number", allow_null=True, help_text="Of a grid: the vial it goes into."
    )
    lot = NumberField("lot", source="line.lot.number")
    lot_title = PlainText(longest=160, source="line.lot.title")
    lot_strength = StrengthField(source="line.lot.actual_strength", allow_null=True)
    shelf = PlainText(longest=80, source="line.lot.shelf.name", allow_null=True)
    formula_line = WholeNumber(source="line.formula_line.position", allow_null=True)
    planned = GramsField(source="line.planned")
    target = GramsField(source="line.target")
    smallest = GramsField()
    largest = GramsField()
    weighed = GramsField()
    deviation = GramsField()
    pinned = YesNo(source="line.pinned")
    expired_reason = PlainText(longest=1000, source="line.expired_reason")
    state = OneOf(["open", "begun", "done", "over", "left out"])
    words = PlainText(longest=200)
    remark = PlainText(
        longest=500, help_text="Where the target is more or less than the balance weighs well."
    )


class BatchInHandOut(Shape):
    batch = BatchOut()
    lines = BenchLineOut(many=True)
    short_claims = ClaimOut(many=True)


class ExpiredIn(Shape):
    lot = NumberField("lot")
    why = PlainText(longest=1000, lines=True)


class ReserveIn(Shape):
    expired = ExpiredIn(  # type: ignore[call-arg]
        many=True,
        required=False,
        max_length=500,
        help_text="A reason for each expired lot that is to be used all the same.",
    )


class ReadingIn(Shape):
    position = WholeNumber(least=1, most=32_000)
    lot = NumberField("lot", help_text="The lot in hand, as scanned or read from its label.")
    mass = GramsField(help_text="Net.")
    source = OneOf(ReadingSource, required=False)
    reading = PlainText(longest=80, blank=True, required=False, help_text="The balance's line as it came.")
    lot_told = OneOf(
        LotTold,
        required=False,
        allow_null=True,
        help_text="How the lot in hand was told; null when not known.",
    )
    at = Moment(required=False)
    operation = PlainText(
        longest=80,
        required=False,
        help_text="Your own name for this weighing; sent again, it is recorded once.",
    )
    confirmed = YesNo(required=False, help_text="A typed mass beyond the band is meant.")
    expired_reason = PlainText(
        longest=1000,
        lines=True,
        blank=True,
        required=False,
        help_text="Why a lot that has expired is used all the same; needed where none was given before.",
    )


class WeighingsIn(Shape):
    weighings = ReadingIn(many=True, allow_empty=False, max_length=500)  # type: ignore[call-arg]
    balance = IdField(required=False, allow_null=True)


class WeighingOut(Shape):
    id = IdField()
    position = WholeNumber(source="line.position")
    lot = NumberField("lot", source="lot.number")
    lot_title = PlainText(longest=160, source="lot.title")
    mass = GramsField()
    standard_uncertainty = GramsField(source="mass_u", allow_null=True)
    source = OneOf(ReadingSource)
    reading = PlainText(longest=80)
    lot_told = OneOf(LotTold, allow_null=True)
    balance_name = PlainText(longest=80, source="balance.name", allow_null=True)
    at = Moment()
    recorded_at = Moment()
    by = PlainText(longest=120, source="by.person.name")
    operation = PlainText(longest=80, allow_null=True)
    expired_reason = PlainText(longest=1000)
    struck_at = Moment(allow_null=True)
    struck_by = PlainText(longest=120, source="struck_by.person.name", allow_null=True)
    strike_reason = PlainText(longest=1000, allow_null=True)


class RefusedReadingOut(Shape):
    id = IdField()
    position = WholeNumber()
    kind = OneOf(RefusedFor)
    told = PlainText(longest=200, help_text="The lot or weight as it was scanned, typed or read.")
    why = PlainText(longest=500)
    at = Moment()
    recorded_at = Moment()
    by = PlainText(longest=120, source="by.person.name")


class LineOutcomeOut(Shape):
    position = PlainText(longest=10, source="key")
    name = PlainText(longest=120)
    target = GramsField()
    add = GramsField(help_text="Still to pour.")
    final = GramsField()
    deviation = DecimalText(digits=18, places=9, help_text="Relative, of the line's part of the whole.")
    within = YesNo()
    missing = GramsField(help_text="What the shelf lacks.")
    too_small = YesNo()


class WayOnOut(Shape):
    way = OneOf(WAYS)
    factor = DecimalText(digits=18, places=9, allow_null=True)
    lines = LineOutcomeOut(many=True)
    mass = GramsField()
    extra_mass = GramsField()
    extra_cost = DecimalText(digits=18, places=6, allow_null=True)
    largest_deviation = DecimalText(digits=18, places=9)
    leaving_tolerance = ListField(child=PlainText(longest=10))
    over_vessel = GramsField()
    allowed = YesNo()
    why = PlainText(longest=2000)


class WaysOnOut(Shape):
    ways = WayOnOut(many=True)


class WayOnIn(Shape):
    way = OneOf(WAYS)


class StrikeIn(Shape):
    why = PlainText(longest=1000, lines=True)


class AskKeepersIn(Shape):
    word = PlainText(longest=1000, lines=True, blank=True, required=False)


class KeepersAskedOut(Shape):
    items = RequestOut(many=True)


class VoidIn(Shape):
    why = PlainText(longest=1000, lines=True)


class CloseIn(Shape):
    title = PlainText(longest=160, required=False)
    tare = GramsField(required=False, allow_null=True)
    capacity_ml = DecimalText(digits=9, places=3, above=0, required=False, allow_null=True)
    shelf = IdField(required=False, allow_null=True)
    keeper = IdField(required=False, allow_null=True)
    left_out_reason = PlainText(longest=1000, lines=True, blank=True, required=False)
    strength_decision = OneOf(["keep declared", "declare actual"], required=False)
    strength_reason = PlainText(longest=1000, lines=True, blank=True, required=False)


class ClosedOut(Shape):
    batch = BatchOut()
    made = LotOut(allow_null=True, help_text="Null for a grid.")
    vials = LotOut(many=True, help_text="What a grid made, in its order; empty for anything else.")
