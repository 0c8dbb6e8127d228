"""One lot: everything needed to decide about a bottle or vial, and its trace."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.calc.lot_codes import studio_item
from inventory.models import Lot
from inventory.pages.bars import content_bars, stock_bar
from inventory.pages.curve import level_curve
from inventory.pages.trace_drawing import draw_trace
from inventory.queries.finding import SOON, lot_at
from inventory.queries.level import READ_BACK, past_of
from inventory.queries.sharing import loan_of
from inventory.queries.shelf import cautions_for, claims_on, contents_of, lots_of
from inventory.queries.trace import trace_lot
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_members
from studio.pages.answers import shown
from studio.pages.listing import Listing

LATEST = 12
SMALL_COLUMN = 4
NEAREST = 2


@require_safe
@for_members
def lot(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """What is in it, where it comes from, what happened to it, and who wants some."""
    found = lot_at(lots_of(member.studio), number)
    now = timezone.now()
    past = past_of(found, latest=READ_BACK if "all" in request.GET else LATEST)
    trace = trace_lot(lot=found, direction="back")
    context = {
        "lot": found,
        "bar": stock_bar(found),
        "contents": content_bars(contents_of(found)),
        "cautions": cautions_for(found),
        "claims": claims_on([found]),
        "past": past,
        "curve": level_curve(past.levels, until=now),
        "drawing": draw_trace(trace, most=SMALL_COLUMN, generations=NEAREST) if trace.lots else None,
        "ancestors": len(trace.lots),
        "loan": loan_of(found),
        "decides": found.is_decided_by(member),
        "today": now.date(),
        "soon": now.date() + SOON,
    }
    return shown(request, "inventory/lot.html", context)


@require_safe
@for_members
def from_label(request: HttpRequest, member: Member, item: str, number: str) -> HttpResponse:
    """On from the address that a label's code holds to the lot; a label of another studio leads nowhere."""
    if item != studio_item(member.studio_id):
        raise NoSuchThing("This label is of another studio.")
    return redirect("lot", lot_at(lots_of(member.studio), number).number)


@require_safe
@for_members
def trace(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Where a lot comes from, or everything it went into: a drawing, and the same as a table."""
    found: Lot = lot_at(lots_of(member.studio), number)
    forward = request.GET.get("direction") == "forward"
    traced = trace_lot(lot=found, direction="forward" if forward else "back")
    opened = frozenset(int(text) for text in request.GET.getlist("open") if text.isascii() and text.isdigit())
    context = {
        "lot": found,
        "forward": forward,
        "trace": traced,
        "drawing": draw_trace(traced, opened=opened),
        "listing": Listing.of(traced.lots, request),
        "opens_with": _opening(traced.direction, opened),
    }
    return shown(request, "inventory/trace.html", context)


def _opening(direction: str, opened: frozenset[int]) -> str:
    """The query that shows this drawing with its open folds, to which one more can be added."""
    return "".join([f"?direction={direction}", *(f"&open={generation}" for generation in sorted(opened))])
