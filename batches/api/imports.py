"""CSV sheets of formulas: one row a line, lines of one code together a formula."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request

from batches.actions.formulas import WrittenFormula, WrittenLine, check_line, import_formulas
from batches.api.shapes import CodeField, LineIn
from inventory.api.imports import ImportOut, SheetImport, through
from inventory.models import Material
from studio.api.fields import PlainText
from studio.kernel.errors import Faults
from studio.kernel.sheets import Row, place


class SheetLineIn(LineIn):
    formula = CodeField()
    name = PlainText(longest=120, required=False)


class FormulaImport(SheetImport):
    required = ("formula", "material", "parts")
    optional = ("name", "strength", "solvent")

    @extend_schema(request={"text/csv": OpenApiTypes.STR}, responses={200: ImportOut, 201: ImportOut})
    def post(self, request: Request) -> HttpResponse:
        """Import formulas from a CSV sheet.

        Columns: formula (its code), material, parts and, if you like, name, strength, solvent. Each row is a line;
        rows of one code make a formula, or the next version of the one that has the code. Materials go by name.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[str]:
        faults = Faults()
        known = {row.name.casefold(): row for row in Material.objects.of(self.studio)}
        by_id = {str(row.id): row for row in known.values()}
        told = [
            (line, through(SheetLineIn, line, _as_ids(line, cells, known, faults), faults))
            for line, cells in rows
        ]
        faults.refuse_if_any()
        for line, values in told:
            check_line(_written(values, by_id), place(line, ""), faults)
        faults.refuse_if_any()
        versions = import_formulas(by=self.by, now=self.now, formulas=_gathered(told, by_id))
        return [f"{version.formula.code} {version.number}" for version in versions]


def _as_ids(
    line: int, cells: Mapping[str, str], known: Mapping[str, Material], faults: Faults
) -> dict[str, Any]:
    filled: dict[str, Any] = {column: cell for column, cell in cells.items() if cell}
    for column in ("material", "solvent"):
        if column not in filled:
            continue
        row = known.get(filled[column].casefold())
        if row is None:
            faults.add(
                place(line, column), f"Line {line}: there is no material “{filled[column][:80]}” here."
            )
        filled[column] = str(row.id) if row else "1"
    return filled


def _written(values: Mapping[str, Any], by_id: Mapping[str, Material]) -> WrittenLine:
    optional = {"strength": values["strength"]} if "strength" in values else {}
    return WrittenLine(
        material=by_id[str(values["material"])],
        parts=values["parts"],
        solvent=by_id[str(values["solvent"])] if values.get("solvent") else None,
        **optional,
    )


def _gathered(told: list[tuple[int, dict[str, Any]]], by_id: Mapping[str, Material]) -> list[WrittenFormula]:
    names: dict[str, str] = {}
    lines: dict[str, list[WrittenLine]] = {}
    for _, values in told:
        code = values["formula"]
        names[code] = names.get(code) or values.get("name") or code
        lines.setdefault(code, []).append(_written(values, by_id))
    return [WrittenFormula(code=code, name=names[code], lines=lines[code]) for code in lines]
