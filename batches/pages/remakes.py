"""The Remakes page: what to make again and what to buy, day by day; rows are edited, accepted and reserved from here."""

from collections.abc import Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from batches.actions.remakes import WantedRow, accept_rows, reserve_what_waits
from batches.calc.remake_result import MakingRow, PurchaseRow
from batches.models.remake_requests import Outlook
from batches.pages.remake_drawing import drawn_plan
from batches.pages.remake_forms import DAYS_AHEAD, OutlookForm
from batches.queries.remakes import Remakes, remakes_of, waiting_drafts
from inventory.calc.wording import figure, listed
from studio.kernel.errors import Invalid
from studio.kernel.mass import positive_mass
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once
from studio.pages.tags import grams

MASS, WAS = "mass-", "was-"
LONGEST_KEY = 120


@require_safe
@for_members
def remakes(request: HttpRequest, member: Member) -> HttpResponse:
    """The plan as things stand, with masses chosen by hand where some are."""
    return _page(request, member, request.GET)


@require_safe
@for_makers
def edited(request: HttpRequest, member: Member) -> HttpResponse:
    """What the masses typed into the plan would change, told while one types; nothing is written."""
    try:
        kept = _kept(request.GET)
        before = remakes_of(studio=member.studio, today=_today(), outlook=_outlook(request.GET, {}))
        after = remakes_of(studio=member.studio, today=_today(), outlook=_outlook(request.GET, kept))
    except Invalid as refusal:
        return shown(request, "batches/parts/remake_edited.html", {"fault": refusal.message})
    context = {"changes": _changes(before, after), "kept": bool(kept), "cost": after.plan.cost}
    return shown(request, "batches/parts/remake_edited.html", context)


@require_POST
@for_makers
@once
def accept(request: HttpRequest, member: Member) -> HttpResponse:
    """Accept the rows that are ticked."""
    form = forms.Form(sent(request))
    told = request.POST
    keys = [key[:LONGEST_KEY] for key in told.getlist("row")]
    with faults_into(form):
        if not keys:
            raise Invalid("Tick the rows to accept.")
        kept = _kept(told)
        acceptance = accept_rows(
            by=member,
            now=timezone.now(),
            operation=told.get("operation", "")[:80] or uuid4().hex,
            digest=told.get("digest", "")[:64],
            outlook=_outlook(told, kept),
            rows=[WantedRow(key, kept.get(key)) for key in keys],
        )
    if not form.is_valid():
        return _page(request, member, told, form)
    made, bought = len(acceptance.batches), len(acceptance.purchases)
    said = [f"{made} batches are drafted" if made != 1 else "One batch is drafted"] if made else []
    said += (
        [f"{bought} purchases are to be ordered" if bought != 1 else "one purchase is to be ordered"]
        if bought
        else []
    )
    return done(request, f"Accepted: {listed(said)}. What can be is reserved.", "remakes")


@require_POST
@for_makers
@once
def reserve_waiting(request: HttpRequest, member: Member) -> HttpResponse:
    """Reserve the dated drafts that the shelf can serve by now."""
    reserved, waiting = reserve_what_waits(by=member, now=timezone.now())
    said = f"Reserved: {listed(reserved)}." if reserved else "Nothing more can be reserved as things stand."
    left = f" {len(waiting)} still wait." if waiting else ""
    return done(request, said + left, "remakes")


def _page(
    request: HttpRequest, member: Member, told: QueryDict, form: forms.Form | None = None
) -> HttpResponse:
    try:
        kept = _kept(told)
    except Invalid:
        kept = {}
    outlook = _outlook(told, kept)
    found = remakes_of(studio=member.studio, today=_today(), outlook=outlook)
    by_key = found.plan.rows
    context = {
        "found": found,
        "plan": found.plan,
        "drawn": drawn_plan(found.plan),
        "rows": [_shown(row, found, kept) for row in found.plan.makings],
        "bought": [_shown(row, found, kept) for row in found.plan.purchases],
        "days": [(day, [by_key[key] for key in day.rows]) for day in found.plan.days],
        "outlook_form": OutlookForm(initial={"days": str(_days(told)), "use": outlook.expected_use}),
        "outlook_days": _days(told),
        "waiting": waiting_drafts(member.studio),
        "operation": uuid4().hex,
    }
    return shown(request, "batches/remakes.html", context, form)


def _shown(row: MakingRow | PurchaseRow, found: Remakes, kept: Mapping[str, Decimal]) -> dict[str, Any]:
    return {
        "row": row,
        "mass_name": f"{MASS}{row.key}",
        "was_name": f"{WAS}{row.key}",
        "mass": figure(row.mass),
        "was": "" if row.key in kept else figure(row.mass),
        "behind": found.plan.behind(row.key),
    }


def _kept(told: QueryDict) -> dict[str, Decimal]:
    """The masses that were typed over those planned, by the key of their row; raises `Invalid`."""
    kept = {}
    for name, text in told.items():
        key = name.removeprefix(MASS)[:LONGEST_KEY]
        if name.startswith(MASS) and str(text).strip() and str(text).strip() != told.get(f"{WAS}{key}"):
            kept[key] = positive_mass(str(text).strip(), "the mass")
    return kept


def _changes(before: Remakes, after: Remakes) -> list[str]:
    """In sentences: rows that come, go, or are of another mass."""
    old, new = before.plan.rows, after.plan.rows
    told = []
    for key in sorted({*old, *new}):
        was, becomes = old.get(key), new.get(key)
        if was is None and becomes is not None:
            told.append(f"{becomes.name}: {grams(becomes.mass)} are needed too.")
        elif becomes is None and was is not None:
            told.append(f"{was.name}: not needed any more.")
        elif was is not None and becomes is not None and was.mass != becomes.mass:
            told.append(f"{becomes.name}: {grams(becomes.mass)} instead of {grams(was.mass)}.")
    told += [one.sentence for one in after.plan.late if one not in before.plan.late]
    return told


def _outlook(told: QueryDict, kept: Mapping[str, Decimal]) -> Outlook:
    return Outlook(
        until=_today() + timedelta(days=_days(told)),
        expected_use=told.get("use") in ("on", "true"),
        kept=kept,
    )


def _days(told: QueryDict) -> int:
    text = told.get("days", "")
    return int(text) if text in dict(DAYS_AHEAD) else int(DAYS_AHEAD[1][0])


def _today() -> Any:
    return timezone.now().date()
