"""CSV sheets of formulas: one row a line, rows of one code together a formula."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request

from batches.actions.formulas import MOST_LINES, WrittenFormula, WrittenLine, check_line, import_formulas
from batches.api.shapes import CodeField, LineIn
from inventory.api.sheet_imports import SheetImport, through
from inventory.models import Material
from studio.api.fields import DecimalText, PlainText, Shape, StrengthField, WholeNumber, YesNo
from studio.kernel.errors import Faults
from studio.kernel.sheets import Row, place

Told = list[tuple[int, dict[str, Any]]]


class SheetLineIn(LineIn):
    formula = CodeField()
    name = PlainText(longest=120, required=False)


class FormulaSheetOut(Shape):
    """A line of a formula's last version as a row of the exported list."""

    formula = PlainText(longest=40, source="version.formula.code")
    name = PlainText(longest=120, source="version.formula.name")
    version = WholeNumber(source="version.number")
    position = WholeNumber()
    material = PlainText(longest=120, source="material.name")
    strength = StrengthField()
    solvent = PlainText(longest=120, source="solvent.name", allow_null=True)
    parts = DecimalText(digits=18, places=6)


class WrittenFormulaOut(Shape):
    line = WholeNumber(help_text="Of the sheet, where the formula begins.")
    code = PlainText(longest=40)
    version = WholeNumber(allow_null=True, help_text="Not known in a dry run.")
    new = YesNo(help_text="False when the last version already says the same; then it is left as it is.")


class FormulasImportedOut(Shape):
    rows = WholeNumber()
    written = WrittenFormulaOut(many=True)
    dry_run = YesNo()


class FormulaImport(SheetImport):
    required = ("formula", "material", "parts")
    optional = ("name", "strength", "solvent")
    ignored = ("version", "position")
    told = FormulasImportedOut
    given_out = "version"

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR}, responses={200: FormulasImportedOut, 201: FormulasImportedOut}
    )
    def post(self, request: Request) -> HttpResponse:
        """Import formulas from a CSV sheet, all or none.

        Columns: formula (its code), material, parts and, if you like, name, strength, solvent. Each row is a line;
        rows of one code make a formula, or the next version of the one that has the code, unless its last version
        already says the same. Materials go by name. What `formulas/?format=csv` exports can be imported as it is: its
        columns version and position are read over, and lines stand in the order of the sheet.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[dict[str, Any]]:
        faults = Faults()
        known = {row.name.casefold(): row for row in Material.objects.of(self.studio)}
        by_id = {row.id: row for row in known.values()}
        shape = SheetLineIn(context={"from_text": True})
        told = [
            (line, through(shape, line, _as_ids(line, cells, known, faults), faults)) for line, cells in rows
        ]
        faults.refuse_if_any()
        for line, values in told:
            check_line(_written(values, by_id), place(line, ""), faults)
        gathered = _gathered(told)
        for lines in gathered.values():
            if len(lines) > MOST_LINES:
                faults.add(
                    place(lines[MOST_LINES][0], "formula"), f"A formula has at most {MOST_LINES} lines."
                )
        faults.refuse_if_any()
        written = import_formulas(
            by=self.by, now=self.now, formulas=[_formula(lines, by_id) for lines in gathered.values()]
        )
        return [
            {"line": lines[0][0], "code": code, "version": version.number, "new": new}
            for (code, lines), (version, new) in zip(gathered.items(), written, strict=True)
        ]


def _as_ids(
    line: int, cells: Mapping[str, str], known: Mapping[str, Material], faults: Faults
) -> dict[str, Any]:
    filled: dict[str, Any] = dict(cells)
    for column in ("material", "solvent"):
        if column not in filled:
            continue
        row = known.get(filled[column].casefold())
        if row is None:
            faults.add(place(line, column), f"There is no material “{filled[column][:80]}” in this studio.")
        filled[column] = str(row.id) if row else "1"
    return filled


def _written(values: Mapping[str, Any], by_id: Mapping[int, Material]) -> WrittenLine:
    optional = {"strength": values["strength"]} if "strength" in values else {}
    return WrittenLine(
        material=by_id[values["material"]],
        parts=values["parts"],
        solvent=by_id[values["solvent"]] if values.get("solvent") else None,
        **optional,
    )


def _gathered(told: Told) -> dict[str, Told]:
    """The rows of each code, in the order of the sheet."""
    gathered: dict[str, Told] = {}
    for line, values in told:
        gathered.setdefault(values["formula"], []).append((line, values))
    return gathered


def _formula(lines: Told, by_id: Mapping[int, Material]) -> WrittenFormula:
    code = lines[0][1]["formula"]
    names = [values["name"] for _, values in lines if values.get("name")]
    return WrittenFormula(
        code=code,
        name=names[0] if names else code,
        lines=[_written(values, by_id) for _, values in lines],
    )
