"""Planning a batch of a formula or of a stock, and changing the plan of one that is drafted.

A draft claims nothing, so planning costs nothing; its page shows the plan beside the formula. A draft is made of
another mass or strength by drafting it anew and giving the old one up, so that no number ever means two things.
"""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from batches.actions.planning import draft_formula_batch, draft_stock_batch
from batches.actions.reserving import void_batch
from batches.actions.weigh_plans import CrossesGivenLots
from batches.calc.strength import strength_report
from batches.models import Batch, BatchKind, FormulaVersion
from batches.models.written import as_calc_lines
from batches.pages.batch import batch_number
from batches.pages.forms import BatchForm, StockForm
from batches.queries.batches import batches_of
from batches.queries.formulas import formulas_of, version_of
from inventory.models import Material
from studio.kernel.errors import Refusal
from studio.kernel.mass import exact_strength, nearest_fraction, positive_mass
from studio.kernel.work import work
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once
from studio.pages.tags import grams, percent

BOTH = require_http_methods(["GET", "HEAD", "POST"])
HANDED_ON = ("mass", "strength", "material", "solvent", "title", "vessel_capacity", "planned_on")


@BOTH
@for_makers
@once
def plan_batch(request: HttpRequest, member: Member) -> HttpResponse:
    """Plan a batch of a formula; without one, choose it first."""
    code = request.GET.get("formula", "").lower()
    if not code:
        rows = formulas_of(member.studio).order_by("name", "id")
        return shown(request, "batches/choose.html", {"formulas": list(rows)})
    version = _version(member, code, request.GET.get("version", ""))
    form = BatchForm(member, version, sent(request), initial=_handed_on(request))
    if form.is_valid():
        with faults_into(form):
            batch = draft_formula_batch(
                by=member,
                now=timezone.now(),
                version=version,
                mass=form.cleaned_data["mass"],
                strength=form.cleaned_data["strength"],
                solvent_bounds=form.solvent_bounds(),
                **form.circumstances(),
            )
    if form.is_valid():
        return _planned(request, batch)
    lines = as_calc_lines(version.lines.all())
    context = {"version": version, "formula": version.formula, **_strength(lines)}
    return shown(request, "batches/plan.html", context, form)


@BOTH
@for_makers
@once
def plan_stock(request: HttpRequest, member: Member) -> HttpResponse:
    """Plan a batch of a stock."""
    form = StockForm(member, sent(request), initial=_handed_on(request))
    if form.is_valid():
        told = form.cleaned_data
        with faults_into(form):
            batch = draft_stock_batch(
                by=member,
                now=timezone.now(),
                **{name: told[name] for name in ("material", "strength", "solvent", "mass")},
                **form.circumstances(),
            )
    if form.is_valid():
        return _planned(request, batch)
    context = {
        "heading": "Plan a stock",
        "lead": "A material at a strength of its own, made from a stronger lot of it and the solvent.",
        "send": "Plan it",
        "back": reverse("batches"),
        "back_to": "Batches",
    }
    return shown(request, "studio/form.html", context, form)


@require_POST
@for_makers
@once
def plan_instead(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Draft the batch anew with another mass or strength, and give this draft up for it."""
    batch: Batch = batches_of(member.studio).one(member.studio, "batch", number=batch_number(number))
    if batch.kind == BatchKind.GRID:
        raise CrossesGivenLots(f"{batch.number} is a grid; give it up and plan another.")
    with work():
        other = _drafted_anew(member, batch, _other_figures(request))
        why = f"Planned anew as {other.number}."
        void_batch(by=member, now=timezone.now(), number=batch.number, why=why)
    said = f"{grams(other.mass)}{f' at {percent(other.strength)}' if other.strength else ''}"
    return done(request, f"Planned anew: {said}. {batch.number} is given up for it.", "batch", other.number)


def _drafted_anew(member: Member, batch: Batch, other: dict[str, Decimal]) -> Batch:
    now = timezone.now()
    told: dict[str, Any] = {
        "mass": batch.mass,
        "strength": batch.strength,
        "title": batch.title,
        "vessel_capacity": batch.vessel_capacity,
        "balance": batch.balance,
        "tolerance": batch.tolerance,
        "planned_on": batch.planned_on,
        "note": batch.note,
        **other,
    }
    if batch.version is None:
        assert batch.material is not None
        assert batch.solvent is not None
        return draft_stock_batch(by=member, now=now, material=batch.material, solvent=batch.solvent, **told)
    solvents = Material.objects.of(member.studio).in_bulk([int(key) for key in batch.solvent_bounds])
    bounds = {
        solvents[int(key)]: (Decimal(least), Decimal(most))
        for key, (least, most) in batch.solvent_bounds.items()
    }
    return draft_formula_batch(by=member, now=now, version=batch.version, solvent_bounds=bounds, **told)


def _other_figures(request: HttpRequest) -> dict[str, Decimal]:
    """The mass or strength that a remedy asks for, exactly as the plan gave it."""
    read = {"mass": positive_mass, "strength": exact_strength}
    return {name: read[name](request.POST[name]) for name in read if request.POST.get(name)}


def _version(member: Member, code: str, number: str) -> FormulaVersion:
    if not (number.isascii() and number.isdigit() and len(number) < 9):
        newest = formulas_of(member.studio).one(member.studio, "formula", code=code)
        return version_of(studio=member.studio, code=code, number=newest.last_version)
    return version_of(studio=member.studio, code=code, number=int(number))


def _strength(lines: Any) -> dict[str, Decimal]:
    try:
        report = strength_report(lines)
    except Refusal:
        return {}
    return {"strength": nearest_fraction(report.strength), "ceiling": nearest_fraction(report.ceiling)}


def _handed_on(request: HttpRequest) -> dict[str, str]:
    """What another page filled in beforehand, as a person would have typed it."""
    return {name: request.GET[name] for name in HANDED_ON if request.GET.get(name)}


def _planned(request: HttpRequest, batch: Batch) -> HttpResponse:
    sentence = (
        f"{batch.title} is planned as {batch.number}. Nothing is reserved yet."
        if batch.explanation.get("possible")
        else f"{batch.title} is kept as draft {batch.number}, but it cannot be made as things stand."
    )
    return done(request, sentence, "batch", batch.number)
