"""Formulas from a CSV sheet: one row a line, rows of one code together a formula. Tried first, then taken, all or none."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from batches.actions.formulas import MOST_LINES, WrittenFormula, WrittenLine, check_line, import_formulas
from batches.pages.forms import Code
from batches.pages.typed_lines import LARGEST_PARTS
from inventory.pages.sheets import BOTH, SheetKind, import_sheet
from inventory.queries.finding import materials_by_name
from studio.kernel.errors import Faults
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.fields import Fraction, Named, Number, Text
from studio.pages.once import once

READ_OVER = ("version", "position")
"""Columns that the list of formulas exports and an import reads over."""


def _columns(member: Member) -> Mapping[str, forms.Field]:
    materials = materials_by_name(member.studio)
    columns: dict[str, forms.Field] = {
        "formula": Code(),
        "material": Named("material"),
        "parts": Number(places=6, above=0, most=int(LARGEST_PARTS)),
        "name": Text(longest=120, required=False),
        "strength": Fraction(required=False),
        "solvent": Named("solvent", required=False),
        **{name: Text(longest=40, required=False) for name in READ_OVER},
    }
    for field in columns.values():
        if isinstance(field, Named):
            field.offer(materials)
    return columns


def _take(member: Member, rows: list[dict[str, Any]], places: list[str]) -> list[str]:
    faults = Faults()
    gathered: dict[str, list[dict[str, Any]]] = {}
    for row, place in zip(rows, places, strict=True):
        gathered.setdefault(row["formula"], []).append(row)
        _check(row, place, faults)
        if len(gathered[row["formula"]]) == MOST_LINES + 1:
            faults.add(f"{place}formula", f"{_line(place)}: a formula has at most {MOST_LINES} lines.")
    faults.refuse_if_any()
    formulas = [_formula(code, lines) for code, lines in gathered.items()]
    written = import_formulas(by=member, now=timezone.now(), formulas=formulas)
    return [
        f"{version.formula.name}, version {version.number}"
        if new
        else f"{version.formula.name}: version {version.number} says the same already"
        for version, new in written
    ]


def _check(row: dict[str, Any], place: str, faults: Faults) -> None:
    found = Faults()
    check_line(_written(row), place, found)
    for key, sentences in found.errors.items():
        for sentence in sentences:
            faults.add(key, f"{_line(place)}, column {key.removeprefix(place)}: {sentence}")


def _line(place: str) -> str:
    return f"Line {place.rstrip('.')}"


def _written(row: dict[str, Any]) -> WrittenLine:
    told = {name: row[name] for name in ("material", "parts", "strength", "solvent") if name in row}
    return WrittenLine(**told)


def _formula(code: str, lines: list[dict[str, Any]]) -> WrittenFormula:
    names = [line["name"] for line in lines if line.get("name")]
    return WrittenFormula(
        code=code, name=names[0] if names else code, lines=[_written(line) for line in lines]
    )


FORMULAS = SheetKind("formulas", _columns, _take, "formulas", "batches/import_formulas.html")


@BOTH
@for_makers
@once
def import_page(request: HttpRequest, member: Member) -> HttpResponse:
    """Formulas from a sheet."""
    return import_sheet(request, member, FORMULAS)
