"""Setting up a panel: two lots with a live table of what so many answers find, or a nose and a material's stocks."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from batches.actions.panels import WantedPanel, WantedTrial, set_up_panel, set_up_trial
from batches.calc.discrimination import METHODS, BadTest
from batches.calc.panel_plan import PanelPlan, panel_plan
from batches.calc.panel_words import SMELLING_CAUTIONS
from batches.models import PanelMethod
from batches.pages.panel_forms import MaterialForm, PanelForm, StrengthForm, TrialForm, who_may_sit
from batches.queries.panels import Strengths, strengths_on_shelf
from inventory.calc.wording import percent
from inventory.models import Lot, Material
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
NEAT = Decimal(1)


@BOTH
@for_makers
@once
def new_panel(request: HttpRequest, member: Member) -> HttpResponse:
    """Set up a blind comparison of two lots."""
    form = PanelForm(
        member, sent(request), initial={"method": "triangle", "lot_a": request.GET.get("lot", "")[:80]}
    )
    if form.is_valid():
        told = {name: form.cleaned_data[name] for name in ("title", "lot_a", "lot_b", "attribute", "note")}
        method, sitters = PanelMethod(form.cleaned_data["method"]), form.cleaned_data["people"]
        with faults_into(form):
            wanted = WantedPanel(method=method, sitters=sitters, **told, **form.usual())
            panel = set_up_panel(by=member, now=timezone.now(), wanted=wanted)
    if form.is_valid():
        sentence = f"{panel.planned} trays are drawn. Fill them by the key, out of sight of those who sit."
        return done(request, sentence, "panel", panel.pk)
    context = {**_planned(form), "cautions": SMELLING_CAUTIONS, "alone": not who_may_sit(member)}
    return shown(request, "batches/panel_new.html", context, form)


@require_safe
@for_makers
def plan(request: HttpRequest, member: Member) -> HttpResponse:
    """The live part: how many answers, and what they find."""
    form = StrengthForm(request.GET)
    form.is_valid()
    return shown(request, "batches/parts/panel_plan.html", _planned(form))


def _planned(form: StrengthForm) -> dict[str, Any]:
    """The plan for what stands in the form, or why there is none."""
    if form.is_bound and {"level", "power", "share", "answers", "method"} & form.errors.keys():
        return {"refused": "Reckoned as soon as the figures above can be read."}
    try:
        return {"plan": _plan_of(form)}
    except BadTest as refusal:
        return {"refused": refusal.message}


def _plan_of(form: StrengthForm) -> PanelPlan:
    if form.is_bound:
        told, method = form.usual(), form.cleaned_data["method"]
    else:
        unbound = StrengthForm({"method": form.initial.get("method", "triangle")})
        unbound.is_valid()
        told, method = unbound.usual(), unbound.cleaned_data["method"]
    return panel_plan(
        METHODS[method],
        level=told["level"],
        wanted_power=told["power"],
        share=told["share"],
        answers=told["answers"],
    )


@BOTH
@for_makers
@once
def new_trial(request: HttpRequest, member: Member) -> HttpResponse:
    """Set up a trial of one nose on one material, from the stocks on the shelf."""
    which = MaterialForm(member.studio, request.GET if "material" in request.GET else None)
    if not which.is_valid():
        return shown(request, "batches/panel_nose_material.html", {}, which)
    material: Material = which.cleaned_data["material"]
    every = strengths_on_shelf(studio=member.studio, material=material)
    usable = [one for one in every if one.solvent_lots]
    at = request.GET.get("solvent", "")
    found = next((one for one in usable if str(one.solvent.pk) == at), usable[0] if usable else None)
    context: dict[str, Any] = {"material": material}
    context |= {"found": found, "others": [one for one in usable if one is not found]}
    if found is None:
        return shown(request, "batches/panel_nose.html", context)
    form = _trial_form(member, found, sent(request))
    if form.is_valid():
        with faults_into(form):
            panel = set_up_trial(by=member, now=timezone.now(), wanted=WantedTrial(**form.chosen()))
    if form.is_valid():
        sentence = f"{panel.planned} trays are drawn, the weakest first. Fill them by the key, out of sight."
        return done(request, sentence, "panel", panel.pk)
    context |= {"cautions": SMELLING_CAUTIONS, "alone": not form.people}
    return shown(request, "batches/panel_nose.html", context, form)


def _trial_form(member: Member, found: Strengths, told: Any) -> TrialForm:
    rows: list[tuple[Lot, str]] = [
        (row.lot, f"{percent(row.strength)} – {row.lot.number}") for row in found.stocks
    ]
    initial = {
        "title": f"{found.material.name} in {found.solvent.name}",
        "stocks": [row.lot.number for row in found.stocks if row.chosen and row.strength < NEAT],
    }
    return TrialForm(member, list(found.solvent_lots), rows, told, initial=initial)
