"""Materials and bottles from CSV sheets, by the same columns as the API: tried first, then taken, all or nothing.

Each cell goes through the field of its column, so a sheet can say what a form can. A trial does everything and then
undoes it; what it would have written is shown.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.pars import WantedPar, described, set_pars
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import MaterialKind
from inventory.pages.forms import SheetForm, keepers_of, shelves_of
from inventory.queries.finding import materials_by_name
from studio.kernel.errors import Faults, Invalid
from studio.kernel.sheets import Row, place, read_rows
from studio.kernel.work import work
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, sent, shown
from studio.pages.fields import Choice, Day, Fraction, Grams, Moment, Named, Number, Text, Whole
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
FAULTS_SHOWN = 100
WRITTEN_SHOWN = 200

Columns = Mapping[str, forms.Field]


@dataclass(frozen=True, slots=True)
class SheetKind:
    """One sort of sheet: its columns, and the action that takes its rows."""

    name: str
    columns: Callable[[Member], Columns]
    take: Callable[[Member, list[dict[str, Any]], list[str]], list[str]]
    back: str
    template: str = "inventory/import.html"


def _material_columns(member: Member) -> Columns:
    entered = [(kind, kind) for kind in (MaterialKind.ODORANT.value, MaterialKind.SOLVENT.value)]
    return {
        "name": Text(longest=120),
        "kind": Choice(entered, required=False),
        "cas": Text(longest=20, required=False),
        "synonyms": Text(longest=300, required=False),
        "density_g_ml": Number(places=6, above=0, most=25, required=False),
        "flash_point_c": Number(places=1, least=-200, most=1000, required=False),
        "hazards": Text(longest=400, required=False),
        "shelf_life_days": Whole(least=1, most=36_500, required=False),
        "stock_shelf_life_days": Whole(least=1, most=36_500, required=False),
        "making_days": Whole(least=0, most=365, required=False),
        "resting_days": Whole(least=0, most=365, required=False),
        "largest_stock": Grams(required=False),
        "note": Text(longest=4000, lines=True, required=False),
    }


def _take_materials(member: Member, rows: list[dict[str, Any]], places: list[str]) -> list[str]:
    cards = [
        MaterialCard(**{**row, "hazards": row.get("hazards", "").replace(",", " ").replace(";", " ").split()})
        for row in rows
    ]
    added = add_materials(by=member, now=timezone.now(), cards=cards, places=places)
    return [material.name for material in added]


def _bottle_columns(member: Member) -> Columns:
    materials = materials_by_name(member.studio)
    columns: dict[str, forms.Field] = {
        "material": _named("material", materials),
        "mass": Grams(),
        "strength": Fraction(required=False),
        "solvent": _named("solvent", [row for row in materials if row.kind == MaterialKind.SOLVENT], False),
        "purity": Fraction(required=False),
        "tare": Grams(required=False),
        "capacity_ml": Number(places=3, above=0, most=999_999, required=False),
        "supplier": Text(longest=120, required=False),
        "supplier_lot": Text(longest=80, required=False),
        "price": Number(places=4, least=0, required=False),
        "received_at": Moment(required=False),
        "expires_on": Day(required=False),
        "shelf": _named("shelf", shelves_of(member.studio), False),
        "keeper": _named("keeper", (), False),
        "note": Text(longest=4000, lines=True, required=False),
    }
    keeper = columns["keeper"]
    assert isinstance(keeper, Named)
    keeper.rows = {row.person.email.casefold(): row for row in keepers_of(member.studio)}
    return columns


def _named(what: str, rows: Sequence[Any], required: bool = True) -> Named:
    field = Named(what, required=required)
    field.offer(rows)
    return field


def _take_bottles(member: Member, rows: list[dict[str, Any]], places: list[str]) -> list[str]:
    bottles = [Bottle(**row) for row in rows]
    lots = receive_bottles(by=member, now=timezone.now(), bottles=bottles, places=places)
    return [f"{lot.number} {lot.title}" for lot in lots]


def _par_columns(member: Member) -> Columns:
    materials = materials_by_name(member.studio)
    return {
        "material": _named("material", materials),
        "low": Grams(zero=True),
        "full": Grams(),
        "strength": Fraction(required=False),
        "solvent": _named("solvent", [row for row in materials if row.kind == MaterialKind.SOLVENT], False),
    }


def _take_pars(member: Member, rows: list[dict[str, Any]], places: list[str]) -> list[str]:
    wanted = [WantedPar(**row) for row in rows]
    pars = set_pars(by=member, now=timezone.now(), pars=wanted, places=places)
    return [f"{par.material.name} {described(par)}" for par in pars]


MATERIALS = SheetKind("materials", _material_columns, _take_materials, "materials")
BOTTLES = SheetKind("bottles", _bottle_columns, _take_bottles, "shelf")
PARS = SheetKind("pars", _par_columns, _take_pars, "materials")


@BOTH
@for_makers
@once
def import_materials(request: HttpRequest, member: Member) -> HttpResponse:
    """Materials from a sheet."""
    return import_sheet(request, member, MATERIALS)


@BOTH
@for_makers
@once
def import_bottles(request: HttpRequest, member: Member) -> HttpResponse:
    """Bottles from a sheet."""
    return import_sheet(request, member, BOTTLES)


@BOTH
@for_makers
@once
def import_pars(request: HttpRequest, member: Member) -> HttpResponse:
    """Pars from a sheet."""
    return import_sheet(request, member, PARS)


def import_sheet(request: HttpRequest, member: Member, kind: SheetKind) -> HttpResponse:
    """Try a sheet of one sort, or take it: the whole of the page that does so."""
    form = SheetForm(sent(request), request.FILES or None)
    trial = "try" in request.POST
    columns = kind.columns(member)
    written: list[str] = []
    faults: list[str] = []
    if form.is_valid():
        try:
            written = _taken(member, kind, columns, form.cleaned_data["sheet"].read(), trial)
        except Invalid as refusal:
            faults = [sentence for told in refusal.errors.values() for sentence in told] or [refusal.message]
            form.add_error(None, "Nothing was taken. Mend these in the sheet and send it again.")
    if form.is_valid() and not trial:
        return done(request, f"{len(written)} {kind.name} are taken from the sheet.", kind.back)
    context = {
        "kind": kind.name,
        "heading": f"{kind.name.capitalize()} from a sheet",
        "back": reverse(kind.back),
        "needed": [name for name, field in columns.items() if field.required],
        "optional": [name for name, field in columns.items() if not field.required],
        "tried": written[:WRITTEN_SHOWN] if trial and form.is_valid() else None,
        "count": len(written),
        "faults": faults[:FAULTS_SHOWN],
        "more_faults": max(len(faults) - FAULTS_SHOWN, 0),
    }
    return shown(request, kind.template, context, form)


def _taken(member: Member, kind: SheetKind, columns: Columns, data: bytes, trial: bool) -> list[str]:
    required = [name for name, field in columns.items() if field.required]
    optional = [name for name, field in columns.items() if not field.required]
    rows = read_rows(data, required=required, optional=optional)
    if not rows:
        raise Invalid("The sheet has a header and no rows.")
    told = _read(rows, columns)
    with work():
        written = kind.take(member, told, [place(line, "") for line, _ in rows])
        if trial:
            transaction.set_rollback(True)
    return written


def _read(rows: Sequence[Row], columns: Columns) -> list[dict[str, Any]]:
    """Every row through the fields of its columns; raises `Invalid` with the faults of all of them."""
    faults = Faults()
    found = []
    for line, cells in rows:
        values = {}
        for column, cell in cells.items():
            field = columns[column]
            if not cell and not field.required:
                continue
            try:
                values[column] = field.clean(cell)
            except ValidationError as error:
                for sentence in error.messages:
                    faults.add(place(line, column), f"Line {line}, column {column}: {sentence}")
        found.append(values)
    faults.refuse_if_any()
    return found
