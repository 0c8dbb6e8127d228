"""Pars on the pages: set on the page of their material, changed and dropped on a page of their own."""

from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.actions.pars import WantedPar, change_par, described, drop_par, set_pars
from inventory.models import Material, MaterialKind, Par
from inventory.pages.buying_forms import ParFiguresForm, ParForm
from inventory.queries.buying import pars_of
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@BOTH
@for_makers
@once
def new_par(request: HttpRequest, member: Member, material_id: int) -> HttpResponse:
    """Say how much of a material is wanted on the shelf."""
    material: Material = Material.objects.one(member.studio, "material", id=material_id)
    given = {
        name: request.GET[name] for name in ("strength", "solvent", "low", "full") if name in request.GET
    }
    form = ParForm(member.studio, sent(request), initial=given)
    if material.kind == MaterialKind.BASE:
        del form.fields["solvent"]
    if material.kind == MaterialKind.SOLVENT:
        del form.fields["solvent"], form.fields["strength"]
    if form.is_valid():
        told = dict(form.cleaned_data)
        strength = told.pop("strength", None) or Decimal(1)
        with faults_into(form):
            wanted = WantedPar(material=material, strength=strength, **told)
            [par] = set_pars(by=member, now=timezone.now(), pars=[wanted])
    if form.is_valid():
        return done(request, f"{material} {described(par)} is wanted on the shelf.", "material", material.pk)
    context = {
        "heading": f"Par of {material}",
        "lead": "How much of it the studio wants on the shelf. The remake plan keeps to it.",
        "send": "Set the par",
        "back": reverse("material", args=[material.pk]),
        "back_to": material.name,
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def par(request: HttpRequest, member: Member, par_id: int) -> HttpResponse:
    """Change a par."""
    found: Par = pars_of(member.studio).one(member.studio, "par", id=par_id)
    form = ParFiguresForm(sent(request), initial={"low": found.low, "full": found.full})
    if form.is_valid():
        with faults_into(form):
            change_par(by=member, now=timezone.now(), par=found, **form.cleaned_data)
    if form.is_valid():
        return done(request, "The par is noted as you said.", "material", found.material_id)
    context = {
        "heading": f"Par of {found.material}, {described(found)}",
        "send": "Keep this",
        "back": reverse("material", args=[found.material_id]),
        "back_to": found.material.name,
        "par": found,
    }
    return shown(request, "inventory/par.html", context, form)


@require_POST
@for_makers
@once
def drop(request: HttpRequest, member: Member, par_id: int) -> HttpResponse:
    """No longer want it on the shelf."""
    found: Par = pars_of(member.studio).one(member.studio, "par", id=par_id)
    drop_par(by=member, now=timezone.now(), par=found)
    return done(
        request, f"{found.material} {described(found)} has no par any more.", "material", found.material_id
    )
