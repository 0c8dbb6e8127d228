"""Grids over the API: laid out, drafted, and their vials left out or made anew.

A grid is a batch of kind grid: it is reserved, weighed, closed and given up under `batches/` like any other.
"""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.grid_cells import leave_out_vial, make_vial_anew
from batches.actions.grids import draft_grid
from batches.actions.reserving import reserve_batch
from batches.api.filters import GridFilters
from batches.api.grid_shapes import GridDraftIn, GridIn, GridInHandOut, GridOut, VialChangeIn
from batches.api.references import batch_number
from batches.api.shapes import BatchOut
from batches.calc.grid import Ratio
from batches.models import Batch
from batches.models.grid_layouts import grid_layout
from batches.queries.grids import GridSheet, grid_sheet, grids_of
from inventory.api.references import lot_numbered, naming, resolved
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.work import work
from studio.models import Studio


class GridList(ListEndpoint):
    model = Batch
    shape = BatchOut
    filterset_class = GridFilters
    orderings = ("number", "created_at", "planned_on", "ended_at", "title")
    ordering = "-created_at"

    def rows(self) -> QuerySet[Batch]:
        return grids_of(self.studio)

    @extend_schema(request=GridDraftIn, responses={201: GridInHandOut})
    def post(self, request: Request) -> HttpResponse:
        """Draft a grid: one batch whose pours go into many vials; with reserve it is claimed too, all of it or nothing.

        A grid that is short, or too small to weigh well, is drafted all the same; lay it out first to see.
        """
        wanted = self.read(GridDraftIn)
        reserve = wanted.pop("reserve", False)
        with work():
            batch = draft_grid(by=self.by, now=self.now, **_crossed(self.studio, wanted))
            if reserve:
                reserve_batch(by=self.by, now=self.now, number=batch.number)
        return self.created(
            GridInHandOut,
            grid_sheet(studio=self.studio, number=batch.number),
            location=f"/api/v1/grids/{batch.number}/",
        )


class GridDetail(Endpoint):
    @extend_schema(responses=GridInHandOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read a grid with its stocks in pouring order and every attempt at its vials."""
        return self.answer(GridInHandOut, _sheet(self, number))


class GridVialLeaveOut(Endpoint):
    @extend_schema(request=VialChangeIn, responses=GridInHandOut)
    def post(self, request: Request, number: str, place: int) -> HttpResponse:
        """Leave a vial out, with a reason; what was poured into it is discarded when the grid is closed."""
        told = self.read(VialChangeIn)
        leave_out_vial(by=self.by, now=self.now, number=batch_number(self.studio, number), vial=place, **told)
        return self.answer(GridInHandOut, _sheet(self, number))


class GridVialMakeAnew(Endpoint):
    @extend_schema(request=VialChangeIn, responses=GridInHandOut)
    def post(self, request: Request, number: str, place: int) -> HttpResponse:
        """Make a vial anew that went wrong: its pours are planned once more, last in order, and claimed."""
        told = self.read(VialChangeIn)
        make_vial_anew(by=self.by, now=self.now, number=batch_number(self.studio, number), vial=place, **told)
        return self.answer(GridInHandOut, _sheet(self, number))


class GridLayout(Endpoint):
    harmless = frozenset({"POST"})

    @extend_schema(request=GridIn, responses=GridOut)
    def post(self, request: Request) -> HttpResponse:
        """Lay out a grid of vials that crosses lots with others at given ratios; nothing is written."""
        plan = grid_layout(studio=self.studio, **_crossed(self.studio, self.read(GridIn)))
        pours: list[dict[str, Any]] = [
            {
                "lot": pour.lot,
                "side": pour.side,
                "vials": [vial for vial, _ in pour.into],
                "masses": [mass for _, mass in pour.into],
                "total": pour.total,
            }
            for pour in plan.pours
        ]
        fields = ("vials", "totals", "too_small", "smallest", "vial_mass_that_weighs", "sentences")
        return self.answer(GridOut, {name: getattr(plan, name) for name in fields} | {"pours": pours})


def _sheet(view: Endpoint, number: str) -> GridSheet:
    return grid_sheet(studio=view.studio, number=batch_number(view.studio, number))


def _crossed(studio: Studio, wanted: dict[str, Any]) -> dict[str, Any]:
    """What was asked for with lots, ratios and the balance in place of their names."""
    told = dict(wanted)
    for side in ("side_a", "side_b"):
        with naming(side):
            told[side] = [lot_numbered(studio, number) for number in wanted[side]]
    if "solvent" in wanted:
        with naming("solvent"):
            told["solvent"] = lot_numbered(studio, wanted["solvent"])
    told["ratios"] = [Ratio(**ratio) for ratio in wanted["ratios"]]
    solvent = told.pop("solvent", None)
    return {**resolved(studio, told), "solvent": solvent}
