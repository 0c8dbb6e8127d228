"""The weigh plan over the API: reading it with its reasons, making it anew, pinning lots, pouring by hand."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.serializers import ListField

from batches.actions.weigh_plans import LotPin, Wishes, WrittenPour, plan_again, take_other_lot
from batches.api.references import batch_number
from batches.api.shapes import BatchInHandOut, BatchOut, BenchLineOut
from batches.queries.batches import batch_in_hand
from studio.api.fields import (
    DecimalText,
    GramsField,
    NumberField,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField
from studio.api.views import Endpoint


class PlanLineOut(Shape):
    line = WholeNumber(help_text="Position in the formula; of a stock 1 is the material, 2 the solvent.")
    name = PlainText(longest=120)
    wanted = DecimalText(digits=20, places=9, help_text="Grams of odorant.")
    poured = DecimalText(digits=20, places=9)
    deviation = DecimalText(digits=20, places=9, help_text="Relative.")
    sentence = PlainText(longest=1000)


class PlanChangeOut(Shape):
    line = WholeNumber()
    name = PlainText(longest=120)
    written = StrengthField()
    used = ListField(child=PlainText(longest=20))
    freed = DecimalText(
        digits=20, places=6, help_text="Grams of solvent; negative where the change takes some."
    )
    sentence = PlainText(longest=1000)


class PlanFlagOut(Shape):
    line = WholeNumber()
    name = PlainText(longest=120)
    lot = NumberField("lot")
    mass = GramsField()
    smallest = GramsField(help_text="What the balance weighs well from.")
    sentence = PlainText(longest=1000)


class PlanSolventOut(Shape):
    material = IdField()
    name = PlainText(longest=120)
    fraction = DecimalText(digits=12, places=9)


class PlanFaultOut(Shape):
    kind = PlainText(longest=20)
    line = WholeNumber(allow_null=True)
    sentence = PlainText(longest=1000)


class PlanReasonOut(Shape):
    kind = PlainText(longest=20)
    wanted = DecimalText(digits=20, places=9)
    reached = DecimalText(digits=20, places=9)
    lines = ListField(child=WholeNumber())
    sentence = PlainText(longest=1000)


class PlanRemedyOut(Shape):
    kind = PlainText(longest=20, help_text="make or get (a stock), mass, strength")
    sentence = PlainText(longest=1000)
    material = IdField(required=False)
    solvent = IdField(required=False, allow_null=True)
    strength = StrengthField(required=False)
    mass = GramsField(required=False)
    parent = NumberField("lot", required=False, allow_null=True)
    route = ListField(child=PlainText(longest=1000), required=False)


class ExplanationOut(Shape):
    possible = YesNo()
    by_hand = YesNo()
    proven = YesNo(help_text="Whether the search proved that there is no better plan.")
    strength = StrengthField(allow_null=True)
    moved = WholeNumber(help_text="Lines taken from another dilution than written.")
    lines = PlanLineOut(many=True)
    changes = PlanChangeOut(many=True)
    flags = PlanFlagOut(many=True)
    solvents = PlanSolventOut(many=True)
    lots_without_cost = ListField(child=NumberField("lot"))
    faults = PlanFaultOut(many=True)
    reasons = PlanReasonOut(many=True)
    remedies = PlanRemedyOut(many=True)


class WeighPlanOut(Shape):
    batch = BatchOut()
    lines = BenchLineOut(many=True)
    plan = ExplanationOut(source="batch.explanation")


class PinIn(Shape):
    line = WholeNumber(least=1, most=32_000)
    lot = NumberField("lot")
    mass = GramsField(required=False, help_text="Left to the plan when left out.")


class PourIn(Shape):
    line = WholeNumber(least=1, most=32_000)
    lot = NumberField("lot")
    mass = GramsField()


class AllowIn(Shape):
    lot = NumberField("lot")
    why = PlainText(longest=1000, lines=True)


class WeighPlanIn(Shape):
    pins = PinIn(many=True, required=False, max_length=500)  # type: ignore[call-arg]
    pours = PourIn(  # type: ignore[call-arg]
        many=True,
        required=False,
        max_length=500,
        help_text="Every pour by hand, in place of a computed plan.",
    )
    allow = AllowIn(  # type: ignore[call-arg]
        many=True, required=False, max_length=500, help_text="Expired lots that may be used, and why."
    )
    knowingly = YesNo(required=False, help_text="Rules that are your own judgement may be broken.")


class OtherLotIn(Shape):
    position = WholeNumber(least=1, most=32_000)
    lot = NumberField("lot")
    expired_reason = PlainText(longest=1000, lines=True, blank=True, required=False)


class BatchWeighPlan(Endpoint):
    @extend_schema(responses=WeighPlanOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read the weigh plan of a batch: what was moved and why, what is too small, or why nothing fits."""
        return self.answer(WeighPlanOut, self._plan(number))

    @extend_schema(request=WeighPlanIn, responses=WeighPlanOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Make the weigh plan anew from the shelf as it is now.

        Pins hold lines to lots of your choice; pours replace the plan by your own and are checked by the same rules.
        """
        wishes = _wishes(self.read(WeighPlanIn))
        plan_again(by=self.by, now=self.now, number=batch_number(self.studio, number), wishes=wishes)
        return self.answer(WeighPlanOut, self._plan(number))

    def _plan(self, number: str) -> Any:
        return batch_in_hand(studio=self.studio, number=batch_number(self.studio, number))


class BatchOtherLot(Endpoint):
    @extend_schema(request=OtherLotIn, responses=BatchInHandOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Take what is left of a line from another lot of its material, its grams fitted to that lot's strength."""
        batch = batch_number(self.studio, number)
        take_other_lot(by=self.by, now=self.now, number=batch, **self.read(OtherLotIn))
        return self.answer(BatchInHandOut, batch_in_hand(studio=self.studio, number=batch))


def _wishes(told: dict[str, Any]) -> Wishes:
    pins: dict[int, list[LotPin]] = {}
    for pin in told.get("pins", []):
        pins.setdefault(pin["line"], []).append(LotPin(pin["lot"], pin.get("mass")))
    return Wishes(
        pins=pins,
        pours=[WrittenPour(**pour) for pour in told.get("pours", [])],
        allowed={one["lot"]: one["why"] for one in told.get("allow", [])},
        knowingly=told.get("knowingly", False),
    )
