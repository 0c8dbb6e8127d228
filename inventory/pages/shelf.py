"""The shelf: finding a lot, and receiving bottles."""

from typing import Any

from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.actions.places import add_shelf
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import Lot, Shelf
from inventory.pages.bars import shelf_rows
from inventory.pages.forms import BottleForm, PlaceForm, ShelfFilters
from inventory.queries.finding import SOON, lots_in_state, lots_matching
from inventory.queries.shelf import lots_of
from studio.models import Member, ScopedQuerySet
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, is_partial, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@for_members
def shelf(request: HttpRequest, member: Member) -> HttpResponse:
    """Lots, narrowed as one types."""
    filters = ShelfFilters(request.GET)
    listing = Listing.of(_wanted(member, **filters.chosen()), request)
    today = timezone.now().date()
    context = {
        "filters": ShelfFilters(initial=filters.chosen()),
        "chosen": filters.chosen(),
        "listing": listing,
        "rows": shelf_rows(listing.rows),
        "today": today,
        "soon": today + SOON,
        "choosing": member.may_write,
    }
    template = "inventory/parts/lots.html" if is_partial(request) else "inventory/shelf.html"
    return shown(request, template, context)


def _wanted(member: Member, *, q: str, state: str, kind: str, sort: str) -> ScopedQuerySet[Lot]:
    rows = lots_of(member.studio)
    # A number that is typed in full means that lot, whatever has become of it.
    found = lots_matching(rows, q, member.studio)
    found = lots_in_state(found, state, timezone.now().date())
    if kind:
        found = found.filter(kind=kind)
    name = sort.removeprefix("-")
    order = F(name).desc() if sort.startswith("-") else F(name).asc(nulls_last=True)
    return found.order_by(order, "id")


@BOTH
@for_makers
@once
def receive(request: HttpRequest, member: Member) -> HttpResponse:
    """Receive a bottle."""
    form = BottleForm(member.studio, sent(request), initial={"material": request.GET.get("material")})
    if form.is_valid():
        with faults_into(form):
            bottle = Bottle(**_filled(form.cleaned_data))
            [lot] = receive_bottles(by=member, now=timezone.now(), bottles=[bottle])
    if form.is_valid():
        return done(request, f"{lot.title} is on the shelf as lot {lot.number}.", "lot", lot.number)
    context = {
        "heading": "Receive a bottle",
        "send": "Receive it",
        "back": reverse("shelf"),
        "back_to": "Shelf",
    }
    return shown(request, "inventory/receive.html", context, form)


@BOTH
@for_members
def places(request: HttpRequest, member: Member) -> HttpResponse:
    """The shelves that lots stand on."""
    rows = Shelf.objects.of(member.studio).select_related("keeper__person").order_by("name", "id")
    return shown(request, "inventory/places.html", {"shelves": list(rows)})


@BOTH
@for_makers
@once
def new_place(request: HttpRequest, member: Member) -> HttpResponse:
    """Name another shelf."""
    form = PlaceForm(member.studio, sent(request))
    if form.is_valid():
        with faults_into(form):
            place = add_shelf(by=member, now=timezone.now(), **form.cleaned_data)
    if form.is_valid():
        return done(request, f"There is a shelf “{place}” now.", "places")
    context = {
        "heading": "Another shelf",
        "send": "Add the shelf",
        "back": reverse("places"),
        "back_to": "Shelves",
    }
    return shown(request, "studio/form.html", context, form)


def _filled(told: dict[str, Any]) -> dict[str, Any]:
    """Without what was left empty where the action has its own meaning for leaving it out."""
    return {name: value for name, value in told.items() if name != "strength" or value is not None}
