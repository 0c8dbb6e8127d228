"""The shapes of the remake plan: what is asked and accepted, and, separately, what goes out."""

import re
from decimal import Decimal
from typing import Any

from rest_framework.serializers import ListField

from batches.api.shapes import BatchOut
from batches.calc.remake_result import Obstacle, PegSort, SizeReason, SourceSort
from inventory.api.buying_shapes import Price, PurchaseOut
from studio.api.fields import (
    Day,
    Direction,
    GramsField,
    Moment,
    OneOf,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField

USUAL_DAYS = 28
MOST_DAYS = 366
MOST_ROWS = 500
MOST_VIALS = 10_000
TOKEN = re.compile(r"[0-9a-z:.-]+")
USUAL_MASS = Decimal(10)


class PlanToken(PlainText):
    """What a plan gives out and takes back as it is: its digest, the key of a row."""

    def to_internal_value(self, data: object) -> str:
        text = super().to_internal_value(data)
        if not TOKEN.fullmatch(text):
            raise self.refuse("Send this back as the plan gave it out.")
        return text

    def described(self, direction: Direction) -> dict[str, Any]:
        return {
            **super().described(direction),
            "pattern": r"^[0-9a-z:.-]+$",
            "examples": ["make:7-0.1-1:2026-03-01"],
        }


class PlanAsk(Shape):
    days = WholeNumber(
        least=0,
        most=MOST_DAYS,
        required=False,
        help_text=f"How far to look ahead; {USUAL_DAYS} when left out.",
    )
    expected_use = YesNo(required=False, help_text="Reckon with the mean use of the last eight weeks too.")


class RemakeItemOut(Shape):
    material = IdField()
    strength = StrengthField()
    solvent = IdField(allow_null=True)


class PegOut(Shape):
    sort = OneOf(PegSort)
    ref = PlainText(longest=200, help_text="Number of the batch, key of the row, or the item of a par.")
    what = PlainText(longest=300, source="label")
    day = Day()
    mass = GramsField()


class MassSourceOut(Shape):
    sort = OneOf(SourceSort)
    ref = PlainText(longest=200)
    what = PlainText(longest=300, source="label")
    mass = GramsField()


class RowInputOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    mass = GramsField()
    sources = MassSourceOut(many=True)


class MakingOut(Shape):
    key = PlainText(longest=120, help_text="What accepting names it by.")
    item = RemakeItemOut()
    name = PlainText(longest=300)
    mass = GramsField()
    start_by = Day(help_text="The latest day to begin on.")
    start_on = Day()
    usable_on = Day()
    needed_on = Day()
    expires_on = Day(allow_null=True)
    late = YesNo()
    why_so_much = OneOf(SizeReason)
    inputs = RowInputOut(many=True)
    pegs = PegOut(many=True, help_text="What it is for.")
    level = WholeNumber(help_text="How deep it lies: 0 for what nothing else is made of.")
    sentences = ListField(child=PlainText(longest=2000))


class PackCountOut(Shape):
    offer = IdField()
    pack = GramsField()
    count = WholeNumber()
    price = Price(help_text="Of one pack.")
    cost = Price(digits=18, help_text="Of all of them.")


class BuyingOut(Shape):
    key = PlainText(longest=120, help_text="What accepting names it by.")
    item = RemakeItemOut()
    name = PlainText(longest=300)
    supplier = IdField()
    supplier_name = PlainText(longest=120)
    packs = PackCountOut(many=True)
    mass = GramsField()
    cost = Price(digits=18)
    order_by = Day(help_text="The latest day to order on.")
    order_on = Day()
    arrives_on = Day()
    needed_on = Day()
    late = YesNo()
    why_so_much = OneOf(SizeReason)
    pegs = PegOut(many=True)
    sentences = ListField(child=PlainText(longest=2000))


class ShortageOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    day = Day()
    mass = GramsField()
    obstacle = OneOf(Obstacle)
    pegs = PegOut(many=True)
    sentence = PlainText(longest=2000)


class LateOut(Shape):
    sort = OneOf(PegSort)
    ref = PlainText(longest=200)
    what = PlainText(longest=300, source="label")
    item = RemakeItemOut()
    name = PlainText(longest=300)
    day = Day()
    mass = GramsField()
    ready_on = Day(allow_null=True, help_text="Empty: never.")
    sentence = PlainText(longest=2000)


class ExpiryOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    mass = GramsField(source="source.mass")
    what = PlainText(longest=300, source="source.label")
    expires_on = Day()
    sentence = PlainText(longest=2000)


class RunsShortOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    day = Day()
    mass = GramsField()
    peg = PegOut()


class MakingDayOut(Shape):
    day = Day()
    rows = ListField(child=PlainText(longest=120), help_text="Keys in the order to work.")
    times_in_hand = WholeNumber(help_text="How many times a container is taken in hand.")


class RemakePlanOut(Shape):
    today = Day(source="plan.today")
    until = Day(source="plan.until")
    expected_use = YesNo(source="outlook.expected_use")
    digest = PlainText(longest=64, help_text="What it was computed on; accepting sends it back.")
    makings = MakingOut(many=True, source="plan.makings")
    purchases = BuyingOut(many=True, source="plan.purchases")
    shortages = ShortageOut(many=True, source="plan.shortages")
    late = LateOut(many=True, source="plan.late")
    expiries = ExpiryOut(many=True, source="plan.expiries")
    runs_short = RunsShortOut(many=True, source="plan.runs_short")
    days = MakingDayOut(many=True, source="plan.days")
    cost = Price(digits=18, source="plan.cost", help_text="Of everything to buy.")


class AcceptRowIn(Shape):
    key = PlanToken(longest=120)
    mass = GramsField(required=False, allow_null=True, help_text="Where another mass is wanted than planned.")


class AcceptIn(Shape):
    operation = PlainText(
        longest=80, help_text="Your name for this one acceptance: sent twice, it is done once."
    )
    digest = PlanToken(longest=64, help_text="Of the plan that the rows were chosen from.")
    days = WholeNumber(least=0, most=MOST_DAYS, required=False, help_text="As the plan was asked for.")
    expected_use = YesNo(required=False)
    rows = AcceptRowIn(many=True, allow_empty=False, max_length=MOST_ROWS)  # type: ignore[call-arg]


class AcceptedOut(Shape):
    operation = PlainText(longest=80)
    at = Moment()
    batches = BatchOut(many=True)
    purchases = PurchaseOut(many=True)


class CouldBeMadeAsk(Shape):
    mass = GramsField(
        required=False, help_text="Of one vial, or of all of it when vials is left out; 10 g when left out."
    )
    vials = WholeNumber(least=1, most=MOST_VIALS, required=False)
    strength = StrengthField(required=False, help_text="Left out, as written.")
    day = Day(required=False, help_text="Today when left out.")


class MissingOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    mass = GramsField()
    ready_on = Day(allow_null=True, help_text="Empty: never.")
    reason = PlainText(longest=2000)


class CouldBeMadeOut(Shape):
    yes = YesNo(
        source="answer.yes",
        help_text="In time and without making others wait, with what has to be done first.",
    )
    at_once = YesNo(help_text="From what is on the shelf and not spoken for.")
    day = Day(source="answer.day")
    mass = GramsField()
    ready_on = Day(
        source="answer.ready_on", allow_null=True, help_text="When all of it could be there; empty: never."
    )
    first_make = MakingOut(many=True)
    first_buy = BuyingOut(many=True)
    missing = MissingOut(many=True, source="answer.missing")
    delayed = LateOut(many=True, source="answer.delayed", help_text="Others that would have to wait for it.")
    sentence = PlainText(longest=4000, source="answer.sentence")


class WeekOut(Shape):
    begins = Day()
    used = GramsField()


class SuggestedParOut(Shape):
    item = RemakeItemOut()
    name = PlainText(longest=300)
    low = GramsField()
    full = GramsField()
    set_low = GramsField(allow_null=True, help_text="As it is set now.")
    set_full = GramsField(allow_null=True)
    lead_days = WholeNumber()
    weeks = WeekOut(many=True)
    sentence = PlainText(longest=1000)


class SuggestedParsOut(Shape):
    items = SuggestedParOut(many=True)
