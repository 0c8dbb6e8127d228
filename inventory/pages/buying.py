"""Suppliers, what they offer, and what is to be bought, on pages."""

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.actions.buying import (
    OfferedPack,
    add_offer,
    add_supplier,
    change_offer,
    change_supplier,
    withdraw_offer,
)
from inventory.actions.purchases import bottle_of, drop_purchase, order_purchase, receive_purchase
from inventory.models import Material, Offer, Purchase, PurchaseState, Supplier
from inventory.pages.buying_forms import (
    ArrivalForm,
    OfferFiguresForm,
    OfferForm,
    PurchasesFilter,
    SupplierForm,
)
from inventory.queries.buying import offers_of, purchases_of, suppliers_of
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@for_members
def suppliers(request: HttpRequest, member: Member) -> HttpResponse:
    """Whom bottles are bought from."""
    rows = suppliers_of(member.studio).order_by("name", "id")
    return shown(request, "inventory/suppliers.html", {"suppliers": list(rows)})


@BOTH
@for_makers
@once
def new_supplier(request: HttpRequest, member: Member) -> HttpResponse:
    """Write a supplier down."""
    form = SupplierForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            supplier = add_supplier(by=member, now=timezone.now(), **form.cleaned_data)
    if form.is_valid():
        return done(request, f"{supplier} is written down.", "suppliers")
    return shown(request, "studio/form.html", _supplier_page("Another supplier", "Write it down"), form)


@BOTH
@for_makers
@once
def supplier(request: HttpRequest, member: Member, supplier_id: int) -> HttpResponse:
    """Change what is known of a supplier."""
    found: Supplier = Supplier.objects.one(member.studio, "supplier", id=supplier_id)
    initial = {name: getattr(found, name) for name in SupplierForm.base_fields}
    form = SupplierForm(sent(request), initial=initial)
    if form.is_valid():
        with faults_into(form):
            change_supplier(
                by=member, now=timezone.now(), supplier=found, changes=form.cleaned_data, expected=None
            )
    if form.is_valid():
        return done(request, f"{found} is noted as you said.", "suppliers")
    return shown(request, "studio/form.html", _supplier_page(f"Change {found}", "Keep this"), form)


def _supplier_page(heading: str, send: str) -> dict[str, str]:
    return {"heading": heading, "send": send, "back": reverse("suppliers"), "back_to": "Suppliers"}


@BOTH
@for_makers
@once
def new_offer(request: HttpRequest, member: Member, material_id: int) -> HttpResponse:
    """Write down a pack of a material that a supplier offers."""
    material: Material = Material.objects.one(member.studio, "material", id=material_id)
    form = OfferForm(member.studio, sent(request))
    if form.is_valid():
        told = {name: value for name, value in form.cleaned_data.items() if value is not None}
        with faults_into(form):
            add_offer(by=member, now=timezone.now(), offered=OfferedPack(material=material, **told))
    if form.is_valid():
        return done(request, "The offer is written down.", "material", material.pk)
    context = {
        "heading": f"Where to buy {material}",
        "lead": "A price that holds from more packs on is an offer of its own.",
        "send": "Write it down",
        "back": reverse("material", args=[material.pk]),
        "back_to": material.name,
    }
    return shown(request, "inventory/offer_new.html", context, form)


@BOTH
@for_makers
@once
def offer(request: HttpRequest, member: Member, offer_id: int) -> HttpResponse:
    """Change an offer, or withdraw it."""
    found: Offer = offers_of(member.studio).one(member.studio, "offer", id=offer_id)
    initial = {name: getattr(found, name) for name in OfferFiguresForm.base_fields}
    form = OfferFiguresForm(sent(request), initial=initial)
    if form.is_valid():
        with faults_into(form):
            change_offer(by=member, now=timezone.now(), offer=found, changes=form.cleaned_data, expected=None)
    if form.is_valid():
        return done(request, "The offer is noted as you said.", "material", found.material_id)
    context = {
        "heading": f"{found.material} from {found.supplier}",
        "send": "Keep this",
        "back": reverse("material", args=[found.material_id]),
        "back_to": found.material.name,
        "offer": found,
    }
    return shown(request, "inventory/offer.html", context, form)


@require_POST
@for_makers
@once
def withdraw(request: HttpRequest, member: Member, offer_id: int) -> HttpResponse:
    """Buy by an offer no more."""
    found: Offer = offers_of(member.studio).one(member.studio, "offer", id=offer_id)
    withdraw_offer(by=member, now=timezone.now(), offer=found)
    return done(request, "Nothing is bought by that offer any more.", "material", found.material_id)


@require_safe
@for_members
def purchases(request: HttpRequest, member: Member) -> HttpResponse:
    """What is to be ordered, what is on its way, and what came of it."""
    filters = PurchasesFilter(request.GET)
    filters.is_valid()
    state = filters.cleaned_data.get("state") or "coming"
    rows: Any = purchases_of(member.studio)
    rows = rows.coming() if state == "coming" else rows.filter(state=state)
    order = ("due_on", "id") if state == "coming" else ("-ended_at", "-id")
    context = {
        "listing": Listing.of(rows.order_by(*order), request),
        "filters": PurchasesFilter(initial={"state": state}),
        "state": state,
        "today": timezone.now().date(),
        "to_order": PurchaseState.TO_ORDER.value,
    }
    return shown(request, "inventory/purchases.html", context)


@require_POST
@for_makers
@once
def ordered(request: HttpRequest, member: Member, purchase_id: int) -> HttpResponse:
    """Note that it was ordered."""
    found = _purchase(member, purchase_id)
    order_purchase(by=member, now=timezone.now(), purchase=found)
    return done(request, f"{found.offer.material} is noted as ordered today.", "purchases")


@require_POST
@for_makers
@once
def dropped(request: HttpRequest, member: Member, purchase_id: int) -> HttpResponse:
    """Give a purchase up."""
    found = _purchase(member, purchase_id)
    drop_purchase(by=member, now=timezone.now(), purchase=found)
    return done(request, f"{found.offer.material} is not to be bought any more.", "purchases")


@BOTH
@for_makers
@once
def arrived(request: HttpRequest, member: Member, purchase_id: int) -> HttpResponse:
    """Receive what was bought."""
    found = _purchase(member, purchase_id)
    form = ArrivalForm(member.studio, sent(request))
    if form.is_valid():
        with faults_into(form):
            bottle = replace(bottle_of(found), **form.cleaned_data)
            _, lots = receive_purchase(by=member, now=timezone.now(), purchase=found, bottle=bottle)
    if form.is_valid():
        numbers = ", ".join(lot.number for lot in lots)
        return done(request, f"{found.offer.material} is on the shelf as {numbers}.", "purchases")
    context = {
        "heading": f"Receive {found.packs} × {found.offer.material}",
        "lead": "Each pack becomes a bottle of its own.",
        "send": "Receive it",
        "back": reverse("purchases"),
        "back_to": "Purchases",
    }
    return shown(request, "studio/form.html", context, form)


def _purchase(member: Member, purchase_id: int) -> Purchase:
    return purchases_of(member.studio).one(member.studio, "purchase", id=purchase_id)
