"""Notes taken together, on pages: what goes with what, versions side by side, and a grid as a heat map."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from batches.calc.smelling_summary import COLUMNS, pairing_row
from batches.pages.batch import batch_number
from batches.queries.batches import batches_of
from batches.queries.formulas import versions_of
from batches.queries.smelled_together import (
    LIKING,
    MEASURES,
    MapCell,
    going_together,
    grid_map,
    grids_with_vials,
    smelled_versions,
)
from studio.kernel.sheets import neutralised
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_members
from studio.pages.answers import shown

MOST_PAIRS = 500
STEPS = 5


@dataclass(frozen=True, slots=True)
class Shaded:
    """A cell of the heat map with its shade, 1 (least) to `STEPS`; 0 where nothing was noted."""

    cell: MapCell
    shade: int


@require_safe
@for_members
def together(request: HttpRequest, member: Member) -> HttpResponse:
    """What goes with what, by the notes on vials of two materials."""
    pairs = going_together(member)
    context = {"pairs": pairs[:MOST_PAIRS], "more": len(pairs) > MOST_PAIRS}
    return shown(request, "batches/smelling/together.html", context)


@require_safe
@for_members
def together_csv(request: HttpRequest, member: Member) -> HttpResponse:
    """The same as a sheet of rows."""
    response = HttpResponse(
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="going-together.csv"'},
    )
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    for pair in going_together(member):
        writer.writerow([neutralised(str(cell)) for cell in pairing_row(pair)])
    return response


@require_safe
@for_members
def compare(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """Two versions of a formula by their lots' notes, side by side; by default the newest two."""
    versions = list(versions_of(member.studio).filter(formula__code=code).order_by("number", "id"))
    if not versions:
        raise NoSuchThing(f"There is no formula {code[:40]} in this studio.")
    by_number = {str(one.number): one for one in versions}
    after = by_number.get(request.GET.get("after", ""), versions[-1])
    usual = versions[-2] if len(versions) > 1 else versions[-1]
    before = by_number.get(request.GET.get("before", ""), usual)
    chosen = [before] if before.pk == after.pk else [before, after]
    context = {
        "formula": after.formula,
        "versions": versions,
        "before": before,
        "after": after,
        "sides": smelled_versions(member, chosen),
    }
    return shown(request, "batches/smelling/compare.html", context)


@require_safe
@for_members
def heat_map(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """A grid laid out, each vial shaded by a measure of its notes, with the figure and its count."""
    batch = batches_of(member.studio).one(member.studio, "batch", number=batch_number(number))
    measure = request.GET.get("measure", LIKING)
    measure = measure if measure in MEASURES else LIKING
    laid = grid_map(member, batch, measure)
    low, high = (Decimal(1), Decimal(9)) if measure == LIKING else (Decimal(0), Decimal(10))
    rows = [(name, [_shaded(cells, low, high) for cells in row]) for name, row in laid.rows]
    context = {
        "batch": batch,
        "columns": laid.columns,
        "rows": rows,
        "measure": measure,
        "measures": MEASURES,
    }
    return shown(request, "batches/smelling/map.html", context)


@require_safe
@for_members
def maps(request: HttpRequest, member: Member) -> HttpResponse:
    """The grids that can be looked at as heat maps, and the formulas whose versions can be compared."""
    context = {
        "grids": grids_with_vials(member),
        "versions": versions_of(member.studio).filter(number=1).order_by("formula__code", "id")[:200],
    }
    return shown(request, "batches/smelling/maps.html", context)


def _shaded(cells: Sequence[MapCell], low: Decimal, high: Decimal) -> list[Shaded]:
    return [Shaded(cell, _shade(cell, low, high)) for cell in cells]


def _shade(cell: MapCell, low: Decimal, high: Decimal) -> int:
    """Five equal steps over the whole scale, so that two maps can be laid side by side."""
    if cell.mean is None:
        return 0
    return min(int((cell.mean.value - low) / (high - low) * STEPS) + 1, STEPS)
