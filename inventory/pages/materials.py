"""Materials: the list, one of them with its lots, and writing down another."""

from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.actions.materials import MaterialCard, add_materials, change_material
from inventory.calc.codes import DEFERRING_WORDS, hazard_statement
from inventory.models import Material
from inventory.pages.bars import shelf_rows
from inventory.pages.forms import MaterialForm, values_of
from inventory.queries.buying import offers_of, pars_of
from inventory.queries.finding import SOON, materials_matching
from inventory.queries.shelf import lots_of
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, is_partial, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
LOTS_SHOWN = 100
OFFER_ORDER = ("supplier__name", "-strength", "pack", "from_packs", "id")


@require_safe
@for_members
def materials(request: HttpRequest, member: Member) -> HttpResponse:
    """All materials, narrowed as one types."""
    text = request.GET.get("q", "")[:120]
    rows = materials_matching(Material.objects.of(member.studio), text)
    listing = Listing.of(rows.order_by("name", "id"), request)
    template = "inventory/parts/materials.html" if is_partial(request) else "inventory/materials.html"
    return shown(request, template, {"listing": listing, "q": text})


@require_safe
@for_members
def material(request: HttpRequest, member: Member, material_id: int) -> HttpResponse:
    """What is known of a material, and which lots of it there are."""
    found: Material = Material.objects.one(member.studio, "material", id=material_id)
    lots = lots_of(member.studio).filter(material=found, emptied_at__isnull=True)
    shown_lots = list(lots.order_by("-declared_strength", "expires_on", "id")[: LOTS_SHOWN + 1])
    today = timezone.now().date()
    context = {
        "material": found,
        "statements": [(code, hazard_statement(code)) for code in found.hazards],
        "words": DEFERRING_WORDS,
        "rows": shelf_rows(shown_lots[:LOTS_SHOWN]),
        "more": len(shown_lots) > LOTS_SHOWN,
        "total": lots.aggregate(total=Sum("on_hand"))["total"],
        "solubilities": list(found.solubilities.select_related("solvent").order_by("id")),
        "pars": list(pars_of(member.studio).filter(material=found)),
        "offers": list(
            offers_of(member.studio).filter(material=found, withdrawn_at=None).order_by(*OFFER_ORDER)
        ),
        "today": today,
        "soon": today + SOON,
    }
    return shown(request, "inventory/material.html", context)


@BOTH
@for_makers
@once
def new_material(request: HttpRequest, member: Member) -> HttpResponse:
    """Write a material down."""
    form = MaterialForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            card = MaterialCard(**form.card())
            [added] = add_materials(by=member, now=timezone.now(), cards=[card])
    if form.is_valid():
        return done(request, f"{added} is written down.", "material", added.pk)
    context = {
        "heading": "Another material",
        "send": "Write it down",
        "back": reverse("materials"),
        "back_to": "Materials",
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def change(request: HttpRequest, member: Member, material_id: int) -> HttpResponse:
    """Change what is known of a material."""
    found: Material = Material.objects.one(member.studio, "material", id=material_id)
    form = MaterialForm(sent(request), initial=values_of(found))
    if found.kind not in dict(form.fields["kind"].choices):  # type: ignore[attr-defined]
        del form.fields["kind"]
    if form.is_valid():
        with faults_into(form):
            change_material(by=member, now=timezone.now(), material=found, changes=form.card(), expected=None)
    if form.is_valid():
        return done(request, f"{found} is noted as you said.", "material", found.pk)
    context = {
        "heading": f"Change {found}",
        "send": "Keep this",
        "back": reverse("material", args=[found.pk]),
        "back_to": found.name,
    }
    return shown(request, "studio/form.html", context, form)
