"""Grids of vials: their list, planning one with its figures while one types, and what is to become of a single vial.

A grid itself stands on the page of its batch, and is weighed at the bench like every other.
"""

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from batches.actions.grid_cells import leave_out_vial, make_vial_anew
from batches.actions.grids import draft_grid, refuse_other_than_solvent
from batches.calc.grid import GridPlan
from batches.models.grid_layouts import grid_layout
from batches.pages.batch import batch_number
from batches.pages.grid_forms import GridForm, VialForm
from batches.queries.grids import grid_sheet, grids_of
from inventory.models import Lot
from inventory.queries.shelf import lots_of
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MOST_OFFERED = 1000
SIDES = {"add-a": "side_a", "add-b": "side_b"}


@require_safe
@for_members
def grids(request: HttpRequest, member: Member) -> HttpResponse:
    """Every grid, the newest first."""
    context = {"listing": Listing.of(grids_of(member.studio).order_by("-id"), request)}
    return shown(request, "batches/grids.html", context)


@BOTH
@for_makers
@once
def plan_grid(request: HttpRequest, member: Member) -> HttpResponse:
    """Choose the sides, ratios and size of a grid, see what it takes, and plan it."""
    doing = request.POST.get("do", "")
    if doing == "look" and request.POST.get("lot", "").strip():
        doing = "add-a"
    if doing in SIDES:
        form = GridForm(member, initial=_with_one_more(request.POST, SIDES[doing]))
        return _planning(request, member, form, None)
    form = GridForm(member, sent(request), initial=_handed_on(request))
    plan = _laid_out(member, form)
    if form.is_valid() and doing == "plan":
        with faults_into(form):
            batch = draft_grid(by=member, now=timezone.now(), **form.crossing(), **form.circumstances())
    if form.is_valid() and doing == "plan":
        return done(
            request,
            f"{batch.title} is planned as {batch.number}. Nothing is reserved yet.",
            "batch",
            batch.number,
        )
    return _planning(request, member, form, plan)


@require_POST
@for_members
def figures(request: HttpRequest, member: Member) -> HttpResponse:
    """What a grid that is being typed would take, beside it."""
    form = GridForm(member, sent(request))
    plan = _laid_out(member, form)
    return shown(request, "batches/parts/grid_plan.html", _figures(form, plan))


@BOTH
@for_makers
@once
def vial(request: HttpRequest, member: Member, number: str, place: int) -> HttpResponse:
    """Leave a vial out of its grid, or make it anew."""
    batch = batch_number(number)
    sheet = grid_sheet(studio=member.studio, number=batch)
    row = next((one for one in sheet.vials if one.cell.number == place), None)
    if row is None:
        raise NoSuchThing(f"Grid {batch} has no vial {place}, or it was left out.")
    form = VialForm(sent(request))
    if form.is_valid():
        verb = make_vial_anew if form.cleaned_data["do"] == "anew" else leave_out_vial
        with faults_into(form):
            verb(by=member, now=timezone.now(), number=batch, vial=place, why=form.cleaned_data["why"])
    if form.is_valid():
        anew = form.cleaned_data["do"] == "anew"
        said = "is to be made anew, last in the pouring order" if anew else "is left out"
        return done(request, f"Vial {place} {said}.", "batch", batch)
    context = {
        "heading": f"{row.cell.title}",
        "lead": "What was poured into it stays in the record and is discarded by movements when the grid is closed. An "
        "entry that was only mistyped is struck through at the bench instead.",
        "send": "Do so",
        "back": reverse("batch", args=[batch]),
        "back_to": sheet.batch.title,
    }
    return shown(request, "studio/form.html", context, form)


def _planning(request: HttpRequest, member: Member, form: GridForm, plan: GridPlan | None) -> HttpResponse:
    there = lots_of(member.studio).filter(emptied_at__isnull=True, held_at__isnull=True)
    offered = there.order_by("title", "id")
    context = {"offered": list(offered[:MOST_OFFERED]), **_figures(form, plan)}
    return shown(request, "batches/grid_new.html", context, form)


def _figures(form: GridForm, plan: GridPlan | None) -> dict[str, Any]:
    """The plan with the lots it speaks of."""
    if plan is None:
        return {"faults": form.non_field_errors() if form.is_bound else []}
    told = form.cleaned_data
    lots: dict[str, Lot] = {lot.number: lot for lot in [*told["side_a"], *told["side_b"]]}
    if told["solvent"]:
        lots[told["solvent"].number] = told["solvent"]
    small = {(one.vial, one.lot) for one in plan.too_small}
    return {
        "grid_plan": plan,
        "vials": [
            (vial, [(one, lots[one.lot], (vial.number, one.lot) in small) for one in vial.portions])
            for vial in plan.vials
        ],
        "pours": [
            (pour, lots[pour.lot], total)
            for pour, total in zip(plan.pours, plan.totals, strict=True)
        ],
    }  # fmt: skip


def _laid_out(member: Member, form: GridForm) -> GridPlan | None:
    """The grid as it is typed, where it can be laid out; what stands against it goes onto the form."""
    if not form.is_valid():
        return None
    with faults_into(form):
        refuse_other_than_solvent(form.cleaned_data["solvent"])
        return grid_layout(studio=member.studio, **form.crossing())
    return None


def _with_one_more(posted: QueryDict, side: str) -> dict[str, str]:
    """The fields as typed, with the lot that was named added to one side."""
    told = {name: str(value) for name, value in posted.items()}
    one = told.get("lot", "").strip()
    told[side] = "\n".join(filter(None, (told.get(side, "").strip(), one)))
    return told


def _handed_on(request: HttpRequest) -> dict[str, str]:
    """Lots that another page named for a side."""
    return {
        "ratios": "1:1",
        **{side: "\n".join(request.GET.getlist(side)) for side in SIDES.values() if side in request.GET},
    }
