"""Figures before anything is made: strength of a version, routes to a stock, grids laid out. Nothing is written."""

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.queries.formulas import version_of
from batches.queries.strengths import stock_route, version_strength
from inventory.api.references import resolved
from studio.api.fields import (
    DecimalText,
    GramsField,
    NumberField,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
)
from studio.api.ids import IdField
from studio.api.views import Endpoint


class StrengthAsk(Shape):
    mass = GramsField(required=False, help_text="Restate to this total; left out, only as written.")
    strength = StrengthField(required=False)


class LineStrengthOut(Shape):
    line = WholeNumber(source="line.key")
    name = PlainText(longest=120, source="line.name")
    strength = StrengthField(source="line.strength")
    odorant_share = DecimalText(digits=12, places=9, source="share.odorant_share")
    mass_share = DecimalText(digits=12, places=9, source="share.mass_share")
    carried_solvent = DecimalText(digits=12, places=9, source="share.carried_solvent")
    mass = GramsField(allow_null=True)


class SwapOut(Shape):
    line = WholeNumber(source="key")
    strength = StrengthField()
    freed = DecimalText(digits=18, places=6, help_text="Parts of solvent freed.")
    ceiling = DecimalText(digits=12, places=9)
    sentence = PlainText(longest=500)


class SolventShareOut(Shape):
    material = IdField()
    name = PlainText(longest=120)
    fraction = DecimalText(digits=12, places=9)


class VersionStrengthOut(Shape):
    strength = DecimalText(digits=12, places=9)
    ceiling = DecimalText(digits=12, places=9)
    lines = LineStrengthOut(many=True)
    solvents = SolventShareOut(many=True)
    holding_down = LineStrengthOut(many=True)
    swaps = SwapOut(many=True)
    beyond = PlainText(longest=500, help_text="Why there are no restated masses.")


class RouteIn(Shape):
    material = IdField()
    solvent = IdField()
    strength = StrengthField()
    mass = GramsField()
    balance = IdField()


class RouteStepOut(Shape):
    parent = NumberField("lot", allow_null=True, help_text="Empty: the product of the step before.")
    parent_strength = StrengthField()
    strength = StrengthField()
    size = GramsField()
    parent_mass = GramsField()
    solvent_mass = GramsField()
    relative_uncertainty = DecimalText(digits=18, places=9)
    sentence = PlainText(longest=500)


class RouteOut(Shape):
    steps = RouteStepOut(many=True)
    odorant_mass = GramsField()
    made_mass = GramsField()
    left_over = GramsField()
    expanded_uncertainty = DecimalText(digits=18, places=9)
    smallest_weight = GramsField()
    sentence = PlainText(longest=1000)


class VersionStrengthView(Endpoint):
    asks = {"GET": StrengthAsk}

    @extend_schema(responses=VersionStrengthOut)
    def get(self, request: Request, code: str, number: int) -> HttpResponse:
        """Read a version's strength as written, its ceiling, what holds it down, and what swaps would free.

        With mass, and strength if it is to be another than written, every line is restated too.
        """
        version = version_of(studio=self.studio, code=code, number=number)
        found = version_strength(version=version, on=self.now.date(), **self.asked)
        return self.answer(VersionStrengthOut, found)


class StockRoute(Endpoint):
    harmless = frozenset({"POST"})

    @extend_schema(request=RouteIn, responses=RouteOut)
    def post(self, request: Request) -> HttpResponse:
        """Find the way to a stock from what the shelf holds, through intermediates where needed; nothing is written."""
        wanted = resolved(self.studio, self.read(RouteIn))
        route = stock_route(studio=self.studio, on=self.now.date(), **wanted)
        return self.answer(RouteOut, route)
