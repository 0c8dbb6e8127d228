"""Panels on the pages: the list, one panel, the tray in front of a person, the result, and the key for who fills."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from batches.actions.answering import answer_serving, end_panel, look_at_panel
from batches.calc.panel_words import SMELLING_CAUTIONS
from batches.models import Panel, PanelServing
from batches.pages.panel_forms import WhyForm
from batches.queries.panel_results import PanelResult, ResultHidden, result_of
from batches.queries.panels import (
    answers_of,
    free_servings,
    key_of,
    may_see_key,
    panel_at,
    panels_of,
    servings_of,
    sits_in,
    waiting_for,
)
from inventory.calc.wording import percent
from studio.kernel.errors import Refusal
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
TENTHS = 1000


@require_safe
@for_members
def panels(request: HttpRequest, member: Member) -> HttpResponse:
    """Trays that wait for the member, then every panel, the newest first."""
    context = {
        "waiting": waiting_for(member),
        "listing": Listing.of(panels_of(member.studio).order_by("-id"), request),
    }
    return shown(request, "batches/panels.html", context)


@require_safe
@for_members
def panel(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """One panel: what it asks of whom, how far it is, and what a member may do about it."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    context = {
        "panel": found,
        "sits": sits_in(found, member),
        "is_mine": found.by_id == member.pk,
        "key_shown": may_see_key(found, member),
        "may_look": found.is_open and found.answered > 0 and member.may_write and not sits_in(found, member),
        "answers": list(answers_of(found).order_by("-id")[:20]),
    }
    return shown(request, "batches/panel.html", context)


@require_safe
@for_makers
def sit(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """The trays that nobody has answered: which one is in front of you?"""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    trays = free_servings(found) if found.is_open else []
    context = {"panel": found, "trays": trays, "sits": sits_in(found, member), "cautions": SMELLING_CAUTIONS}
    return shown(request, "batches/panel_sit.html", context)


@BOTH
@for_makers
@once
def tray(request: HttpRequest, member: Member, panel_id: int, number: int) -> HttpResponse:
    """One tray: one question, a large button for each number."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    served: PanelServing = servings_of(found).one(member.studio, "tray", number=number)
    told = ""
    if request.method == "POST":
        code = request.POST.get("code", "")
        try:
            answer_serving(
                by=member,
                now=timezone.now(),
                panel_id=found.pk,
                serving=number,
                code=int(code) if code.isascii() and code.isdigit() and len(code) == 3 else 0,
            )
            return _answered(request, member, panel_id, number)
        except Refusal as refusal:
            told = refusal.message
    context = {
        "panel": found,
        "tray": served,
        "sits": sits_in(found, member),
        "is_answered": hasattr(served, "answer"),
        "told": told,
    }
    response = shown(request, "batches/panel_tray.html", context)
    response.status_code = 422 if told else 200
    return response


def _answered(request: HttpRequest, member: Member, panel_id: int, number: int) -> HttpResponse:
    found = panel_at(studio=member.studio, panel_id=panel_id)
    if found.is_open:
        return done(request, f"Tray {number} is answered. Let your nose rest.", "sit-in-panel", panel_id)
    return done(request, "That was the last tray: here is what all of them say.", "panel-result", panel_id)


@require_safe
@for_members
def result(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """What the answers say, in plain words; or why nothing is told yet."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    context: dict[str, Any] = {"panel": found}
    try:
        context |= _drawn(result_of(member=member, panel=found))
    except ResultHidden as refusal:
        context["hidden"] = refusal.message
    return shown(request, "batches/panel_result.html", context)


def _drawn(found: PanelResult) -> dict[str, Any]:
    """A result with the ends of its bar in thousandths."""
    drawn: dict[str, Any] = {"result": found, "verdict": found.sentences[0], "sentences": found.sentences[1:]}
    if found.share is not None and found.share_low is not None and found.share_high is not None:
        drawn["bar"] = {
            "width": round(found.share * TENTHS),
            "least": round(found.share_low * TENTHS),
            "most": round(found.share_high * TENTHS),
            "share": percent(found.share, 2),
            "low": percent(found.share_low, 2),
            "high": percent(found.share_high, 2),
        }
    return drawn


@require_safe
@for_members
def key(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """What stands behind the numbers; refused to others than who fills the trays until the panel is closed."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    trays = key_of(member=member, panel=found).trays
    given = {} if found.is_open else {one.serving.number: one for one in answers_of(found).order_by("id")}
    rows = [
        {
            "tray": one,
            "samples": list(zip(one.codes, one.lots, strict=True)),
            "answer": given.get(one.number),
            "is_right": one.number in given and given[one.number].chosen == one.right,
        }
        for one in trays
    ]
    return shown(request, "batches/panel_key.html", {"panel": found, "rows": rows})


@BOTH
@for_makers
@once
def look(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """Declare a look at the result before the panel is finished."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    form = WhyForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            look_at_panel(by=member, now=timezone.now(), panel_id=found.pk, why=form.cleaned_data["why"])
    if form.is_valid():
        return done(request, "Your look is noted on the result.", "panel-result", found.pk)
    lead = (
        f"{found.answered} of {found.planned} answers are in. A look is noted with your name and stands on every "
        f"result from now on, because stopping at a good moment makes false alarms."
    )
    return _early(request, form, found, "Look before it is finished", "Look and have it noted", lead)


@BOTH
@for_makers
@once
def end(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """End a panel before its planned number."""
    found = panel_at(studio=member.studio, panel_id=panel_id)
    form = WhyForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            end_panel(by=member, now=timezone.now(), panel_id=found.pk, why=form.cleaned_data["why"])
    if form.is_valid():
        return done(request, "The panel is ended, and its result says so.", "panel", found.pk)
    lead = f"{found.answered} of {found.planned} answers are in. Nobody can answer any more; the result stays interim."
    return _early(request, form, found, "End it early", "End the panel", lead)


def _early(
    request: HttpRequest, form: WhyForm, found: Panel, heading: str, send: str, lead: str
) -> HttpResponse:
    context = {
        "heading": heading,
        "send": send,
        "lead": lead,
        "back": reverse("panel", args=[found.pk]),
        "back_to": found.title,
    }
    return shown(request, "studio/form.html", context, form)
