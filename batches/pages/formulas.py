"""Formulas: finding one, a version with everything reckoned of it, two versions side by side, adopting one as a base."""

from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from batches.actions.formulas import adopt_as_base, change_formula
from batches.models import Formula, FormulaLine, FormulaVersion
from batches.models.written import as_calc_lines
from batches.pages.figures import LineShown, shown_figures
from batches.pages.forms import AdoptForm, HeadForm
from batches.queries.comparing import compare_versions
from batches.queries.finding import formulas_matching
from batches.queries.formulas import formulas_of, version_of, versions_of
from batches.queries.written import base_recipes, written_figures
from studio.kernel.mass import nearest_fraction
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, is_partial, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
LONGEST_SEARCH = 120


@dataclass(frozen=True, slots=True)
class WrittenRow:
    """A line of a version with its share of the mass, and what stands beside it."""

    line: FormulaLine
    mass_share: Decimal
    beside: LineShown


@require_safe
@for_members
def formulas(request: HttpRequest, member: Member) -> HttpResponse:
    """All formulas, narrowed as one types."""
    text = " ".join(request.GET.get("q", "").replace("\0", "").split())[:LONGEST_SEARCH]
    rows = formulas_matching(formulas_of(member.studio), text).order_by("code", "id")
    listing = Listing.of(rows, request)
    template = "batches/parts/formulas.html" if is_partial(request) else "batches/formulas.html"
    return shown(request, template, {"listing": listing, "q": text})


@require_safe
@for_members
def formula(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """The newest version of a formula."""
    found = formulas_of(member.studio).one(member.studio, "formula", code=code)
    return _version(request, member, code, found.last_version)


@require_safe
@for_members
def version(request: HttpRequest, member: Member, code: str, number: int) -> HttpResponse:
    """One version of a formula."""
    return _version(request, member, code, number)


def _version(request: HttpRequest, member: Member, code: str, number: int) -> HttpResponse:
    others = list(
        FormulaVersion.objects.of(member.studio)
        .filter(formula__code=code)
        .select_related("formula__base", "formula__adopted", "by__person")
        .order_by("-number", "-id")
    )
    found = version_of(studio=member.studio, code=code, number=number)
    head: Formula = others[0].formula
    rows = list(found.lines.all())
    lines = as_calc_lines(rows)
    reckoned = written_figures(
        studio=member.studio, lines=lines, recipes=base_recipes(member.studio), on=timezone.now().date()
    )
    figures = shown_figures(reckoned, lines, member.studio.currency)
    total = sum((row.parts for row in rows), Decimal(0))
    context = {
        "formula": head,
        "version": found,
        "versions": others,
        "is_newest": found.number == others[0].number,
        "before": found.number - 1,
        "rows": [
            WrittenRow(row, nearest_fraction(row.parts / total), figures.lines[row.position]) for row in rows
        ],
        "total": total,
        "figures": figures,
    }
    return shown(request, "batches/formula.html", context)


@require_safe
@for_members
def compare(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """Two versions side by side; by default the newest and the one before."""
    found = list(versions_of(member.studio).filter(formula__code=code).order_by("number", "id"))
    if not found:
        raise NoSuchThing(f"There is no formula {code[:40]} in this studio.")
    by_number = {str(one.number): one for one in found}
    after = by_number.get(request.GET.get("after", ""), found[-1])
    usual = next((one for one in reversed(found) if one.number < after.number), None)
    before = by_number.get(request.GET.get("before", ""), usual)
    context = {"formula": after.formula, "versions": found, "compared": compare_versions(before, after)}
    template = "batches/parts/compared.html" if is_partial(request) else "batches/compare.html"
    return shown(request, template, context)


@BOTH
@for_makers
@once
def adopt(request: HttpRequest, member: Member, code: str, number: int) -> HttpResponse:
    """Adopt a version as a base."""
    found = version_of(studio=member.studio, code=code, number=number)
    form = AdoptForm(sent(request), initial={"name": found.formula.name})
    if form.is_valid():
        with faults_into(form):
            base = adopt_as_base(by=member, now=timezone.now(), version=found, **form.cleaned_data)
    if form.is_valid():
        return done(request, f"{base} is a base now and can be used in formulas.", "formula", code)
    context = {
        "heading": f"Adopt {found.formula} {found.number} as a base",
        "lead": "The version is fixed for good and gets a material of its own. Its lots are made by batches of it, "
        "so it can always be made again.",
        "send": "Adopt it",
        "back": reverse("formula-version", args=[code, number]),
        "back_to": found.formula.name,
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def change(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """Change a formula's name or note."""
    found: Formula = Formula.objects.one(member.studio, "formula", code=code)
    form = HeadForm(sent(request), initial={"name": found.name, "note": found.note})
    if form.is_valid():
        with faults_into(form):
            change_formula(
                by=member, now=timezone.now(), formula=found, changes=form.cleaned_data, expected=None
            )
    if form.is_valid():
        return done(request, f"{found} is noted as you said.", "formula", code)
    context = {
        "heading": f"Change {found}",
        "send": "Keep this",
        "back": reverse("formula", args=[code]),
        "back_to": found.name,
    }
    return shown(request, "studio/form.html", context, form)
