"""One batch, from its plan to its sealed record, and what can be done with it away from the balance."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from batches.actions.asking_keepers import ask_keepers
from batches.actions.dating import date_batch
from batches.actions.reserving import reserve_batch, void_batch
from batches.actions.weigh_plans import PlanDoesNotHold, Wishes, plan_again
from batches.models import CLAIMING, BatchKind, BatchState
from batches.pages.deviations import drawn_deviations
from batches.pages.forms import DayForm, VoidForm
from batches.pages.plan_wishes import chosen_lots, grams_fields, written_pours
from batches.pages.remedies import offered
from batches.queries.batches import (
    BatchInHand,
    batch_in_hand,
    batches_listed,
    refused_at,
    weighings_of,
)
from batches.queries.finding import batches_matching
from batches.queries.grids import sheet_of
from batches.queries.planned import planned_lines
from batches.queries.records import batch_record
from inventory.actions.keeping import KeeperNotAsked
from inventory.calc.wording import listed
from studio.kernel.numbers import BadNumberText, parse
from studio.models import Member, ScopedQuerySet
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, is_partial, sent, shown
from studio.pages.listing import Listing
from studio.pages.navigation import address
from studio.pages.once import once
from studio.pages.tags import day

STATES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "hand": ("in hand", (BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING)),
    "draft": ("drafts", (BatchState.DRAFT,)),
    "reserved": ("reserved, ready to weigh", (BatchState.RESERVED,)),
    "weighing": ("being weighed", (BatchState.WEIGHING,)),
    "closed": ("closed", (BatchState.CLOSED,)),
    "void": ("given up", (BatchState.VOID,)),
    "all": ("all", tuple(BatchState)),
}
LONGEST_SEARCH = 120
NEW_PLAN_FROM = (BatchState.DRAFT, BatchState.RESERVED)


def batch_number(text: str) -> str:
    """The number that an address names, in any spelling; raises `NoSuchThing`."""
    try:
        return parse("batch", text)
    except BadNumberText:
        raise NoSuchThing(f"There is no batch {text[:40]} in this studio.") from None


@require_safe
@for_members
def batches(request: HttpRequest, member: Member) -> HttpResponse:
    """Batches by state, narrowed as one types."""
    text = " ".join(request.GET.get("q", "").replace("\0", "").split())[:LONGEST_SEARCH]
    state = request.GET.get("state", "")
    state = state if state in STATES else "hand"
    rows: ScopedQuerySet[Any] = batches_listed(member.studio)
    # A number that is typed in full means that batch, whatever has become of it.
    if not _is_number(text):
        rows = rows.filter(state__in=STATES[state][1])
    listing = Listing.of(batches_matching(rows, text).order_by("-id"), request)
    context = {
        "listing": listing,
        "q": text,
        "state": state,
        "states": [(key, words) for key, (words, _) in STATES.items()],
    }
    template = "batches/parts/batches.html" if is_partial(request) else "batches/batches.html"
    return shown(request, template, context)


def _is_number(text: str) -> bool:
    try:
        return bool(parse("batch", text))
    except BadNumberText:
        return False


@require_safe
@for_members
def batch(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """A batch as it stands."""
    return _page(request, member, batch_number(number))


def _page(
    request: HttpRequest,
    member: Member,
    number: str,
    form: forms.Form | None = None,
    chosen: Mapping[int, str] | None = None,
    typed: Mapping[str, str] | None = None,
    **kept: Any,
) -> HttpResponse:
    found = batch_in_hand(studio=member.studio, number=number)
    batch = found.batch
    context: dict[str, Any] = {
        "found": found,
        "batch": batch,
        "plan": batch.explanation,
        "solvents": [
            (one["name"], Decimal(one["fraction"])) for one in batch.explanation.get("solvents", ())
        ],
        "comes_to": Decimal(batch.explanation["strength"]) if batch.explanation.get("strength") else None,
        "void_form": VoidForm(),
        "day_form": DayForm(initial={"planned_on": batch.planned_on}),
        "bench": address("bench", number) if batch.state in CLAIMING else "",
        "can_plan": member.may_write and batch.state in NEW_PLAN_FROM,
    }
    if batch.state in NEW_PLAN_FROM and batch.kind != BatchKind.GRID:
        context |= _plan(member, found, chosen, typed)
    else:
        context["drawn"] = drawn_deviations(found.lines, batch.tolerance)
        context["weighings"] = list(weighings_of(studio=member.studio, number=number))
    if batch.kind == BatchKind.GRID:
        context["grid"] = sheet_of(found)
    if batch.state != BatchState.DRAFT:
        context["refused"] = list(refused_at(batch))
    if batch.state == BatchState.CLOSED:
        context["record"] = batch_record(studio=member.studio, number=number)
    if batch.state == BatchState.WEIGHING:
        context["done_lines"] = sum(one.state in ("done", "over") for one in found.lines)
    context |= kept
    return shown(request, "batches/batch.html", context, form)


def _plan(
    member: Member, found: BatchInHand, chosen: Mapping[int, str] | None, typed: Mapping[str, str] | None
) -> dict[str, Any]:
    batch = found.batch
    lines = planned_lines(batch=batch, bench=found.lines, on=timezone.now().date(), chosen=chosen)
    return {
        "lines": lines,
        "by_hand": [(line, grams_fields(line, typed)) for line in lines if line.lots],
        "typed": typed,
        "remedies": offered(batch, member.studio),
        "some_expired": any(not other.usable for line in lines for other in line.lots),
    }


@require_POST
@for_makers
@once
def plan(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Make the weigh plan anew, with lots chosen for single lines, or take it as it is written by hand."""
    number = batch_number(number)
    form = forms.Form(sent(request))
    by_hand = request.POST.get("do") == "by-hand"
    wishes = Wishes()
    with faults_into(form):
        wishes = _by_hand(member, number, request.POST) if by_hand else chosen_lots(request.POST)
    may_be_meant = False
    if form.is_valid():
        with faults_into(form):
            try:
                planned = plan_again(by=member, now=timezone.now(), number=number, wishes=wishes)
            except PlanDoesNotHold as refusal:
                may_be_meant = refusal.may_be_meant
                form.add_error(None, refusal.sentences)
    if form.is_valid():
        fits = planned.explanation.get("possible")
        told = (
            "The plan is taken as written."
            if by_hand
            else "The plan is made anew from the shelf as it is now."
        )
        return done(request, told if fits else "Planned anew: nothing fits.", "batch", number)
    if by_hand:
        return _page(request, member, number, form, typed=request.POST.dict(), may_be_meant=may_be_meant)
    chosen = {line: pin.lot for line, pins in wishes.pins.items() for pin in pins}
    return _page(request, member, number, form, chosen)


def _by_hand(member: Member, number: str, sent: QueryDict) -> Wishes:
    """The pours as written; which lots are past their day is seen on the shelf, not believed."""
    found = batch_in_hand(studio=member.studio, number=number)
    lines = planned_lines(batch=found.batch, bench=found.lines, on=timezone.now().date())
    expired = [other.lot.number for line in lines for other in line.lots if not other.usable]
    return written_pours(sent, expired)


@require_POST
@for_makers
@once
def reserve(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Claim everything the plan takes, or nothing and say what is missing."""
    number = batch_number(number)
    found = batch_in_hand(studio=member.studio, number=number)
    reasons = {one.line.lot.number: one.line.expired_reason for one in found.lines if one.line.expired_reason}
    form = forms.Form(sent(request))
    unasked = False
    with faults_into(form):
        try:
            reserve_batch(by=member, now=timezone.now(), number=number, expired_reasons=reasons)
        except KeeperNotAsked:
            unasked = True
            raise
    if not form.is_valid():
        return _page(request, member, number, form, unasked=unasked)
    return done(request, f"Everything for {number} is reserved.", "batch", number)


@require_POST
@for_makers
@once
def ask(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Ask the keepers of the lots that this takes more of than goes unasked."""
    number = batch_number(number)
    form = forms.Form(sent(request))
    with faults_into(form):
        asked = ask_keepers(by=member, now=timezone.now(), number=number)
    if not form.is_valid():
        return _page(request, member, number, form)
    keepers = sorted({str(one.lot.keeper) for one in asked})
    return done(
        request, f"{listed(keepers)} {'was' if len(keepers) == 1 else 'were'} asked.", "batch", number
    )


@require_POST
@for_makers
@once
def void(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Give a batch up."""
    number = batch_number(number)
    form = VoidForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            void_batch(by=member, now=timezone.now(), number=number, why=form.cleaned_data["why"])
    if not form.is_valid():
        return _page(request, member, number, form, void_form=form)
    return done(request, f"{number} is given up; its claims are released.", "batch", number)


@require_POST
@for_makers
@once
def to_day(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Set or move the day a batch is to be made on."""
    number = batch_number(number)
    form = DayForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            date_batch(by=member, now=timezone.now(), number=number, **form.cleaned_data)
    if not form.is_valid():
        return _page(request, member, number, form, day_form=form)
    planned = form.cleaned_data["planned_on"]
    said = f"is to be made on {day(planned)}" if planned else "has no day yet"
    return done(request, f"{number} {said}.", "batch", number)
