"""Formulas and their versions over the API."""

from dataclasses import replace
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.formulas import (
    WrittenLine,
    adopt_as_base,
    change_formula,
    rewrite_version,
    write_formula,
    write_next_version,
)
from batches.actions.formulas_from_lots import write_contents_as_formula
from batches.api.filters import FormulaFilters
from batches.api.imports import FormulaSheetOut
from batches.api.shapes import (
    AdoptIn,
    DiffAsk,
    DiffOut,
    FormulaChange,
    FormulaIn,
    FormulaOut,
    LotFormulaIn,
    VersionIn,
    VersionOut,
)
from batches.calc.written_contents import own_strength
from batches.models import Formula, FormulaVersion
from batches.queries.formulas import formulas_of, last_lines, line_differences, version_of, versions_of
from batches.queries.written import base_recipes
from inventory.api.references import lot_numbered
from inventory.api.shapes import MaterialOut
from inventory.models import Material, MaterialKind
from studio.api.pagination import order_of, ordered
from studio.api.sheets import SheetForm, sheet
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.errors import Faults
from studio.models import Studio


class FormulaList(ListEndpoint):
    model = Formula
    shape = FormulaOut
    filterset_class = FormulaFilters
    orderings = ("code", "name", "created_at")
    ordering = "code"

    def rows(self) -> QuerySet[Formula]:
        return formulas_of(self.studio)

    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """List the formulas; as CSV, the lines of the last version of each."""
        if request.accepted_renderer.format != SheetForm.format:
            return super().get(request, *args, **kwargs)
        formulas = self.filter_queryset(self.rows())
        order = order_of(formulas, request, self)
        columns = [replace(column, path=f"version__formula__{column.path}") for column in order]
        lines = ordered(last_lines(formulas), columns)
        return sheet(
            FormulaSheetOut(), lines.order_by(*lines.query.order_by, "position", "id"), name="formulas"
        )

    @extend_schema(request=FormulaIn, responses={201: VersionOut})
    def post(self, request: Request) -> HttpResponse:
        """Write a formula with its first version."""
        wanted = self.read(FormulaIn)
        lines = lines_written(self.studio, wanted.pop("lines"))
        version = write_formula(by=self.by, now=self.now, lines=lines, **wanted)
        return _created(self, version)


class FormulaDetail(Endpoint):
    @extend_schema(responses=FormulaOut)
    def get(self, request: Request, code: str) -> HttpResponse:
        """Read a formula."""
        return self.answer(FormulaOut, formulas_of(self.studio).one(self.studio, "formula", code=code))

    @extend_schema(request=FormulaChange, responses=FormulaOut)
    def patch(self, request: Request, code: str) -> HttpResponse:
        """Change a formula's name or note."""
        change_formula(
            by=self.by,
            now=self.now,
            formula=Formula.objects.one(self.studio, "formula", code=code),
            changes=self.read(FormulaChange),
            expected=self.edition(),
        )
        return self.answer(FormulaOut, formulas_of(self.studio).get(code=code))


class VersionList(ListEndpoint):
    model = FormulaVersion
    shape = VersionOut
    orderings = ("number",)
    ordering = "number"

    def rows(self) -> QuerySet[FormulaVersion]:
        formula = Formula.objects.one(self.studio, "formula", code=self.kwargs["code"])
        return versions_of(self.studio).filter(formula=formula)

    @extend_schema(request=VersionIn, responses={201: VersionOut})
    def post(self, request: Request, code: str) -> HttpResponse:
        """Start the next version."""
        wanted = self.read(VersionIn)
        formula = Formula.objects.one(self.studio, "formula", code=code)
        lines = lines_written(self.studio, wanted.pop("lines"))
        version = write_next_version(by=self.by, now=self.now, formula=formula, lines=lines, **wanted)
        return _created(self, version)


class LotFormula(Endpoint):
    @extend_schema(request=LotFormulaIn, responses={201: VersionOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Write what a lot contains as a formula: the next version where the code is known, else a new one."""
        lot = lot_numbered(self.studio, number)
        version = write_contents_as_formula(by=self.by, now=self.now, lot=lot, **self.read(LotFormulaIn))
        return _created(self, version)


class VersionDetail(Endpoint):
    @extend_schema(responses=VersionOut)
    def get(self, request: Request, code: str, number: int) -> HttpResponse:
        """Read a version with its lines."""
        return self.answer(VersionOut, version_of(studio=self.studio, code=code, number=number))

    @extend_schema(request=VersionIn, responses={200: VersionOut, 201: VersionOut})
    def put(self, request: Request, code: str, number: int) -> HttpResponse:
        """Write the lines of a version anew.

        A version that a batch was planned from is fixed: then the next version is started and answered with 201.
        """
        wanted = self.read(VersionIn)
        lines = lines_written(self.studio, wanted.pop("lines"))
        version = rewrite_version(
            by=self.by,
            now=self.now,
            version=version_of(studio=self.studio, code=code, number=number),
            lines=lines,
            expected=self.edition(),
            **wanted,
        )
        if version.number != number:
            return _created(self, version)
        return self.answer(VersionOut, version_of(studio=self.studio, code=code, number=number))


class VersionDiff(Endpoint):
    asks = {"GET": DiffAsk}

    @extend_schema(responses=DiffOut)
    def get(self, request: Request, code: str, number: int) -> HttpResponse:
        """Compare a version with another, line by line.

        There is nothing before version 1: unless another version is named, all of its lines are added.
        """
        after = version_of(studio=self.studio, code=code, number=number)
        other = self.asked.get("with_version", number - 1) or None
        before = [version_of(studio=self.studio, code=code, number=other)] if other else []
        lines = [line for version in before for line in version.lines.all()]
        differences = line_differences(lines, list(after.lines.all()))
        result = {"formula": code, "before": other, "after": number, "lines": differences}
        return self.answer(DiffOut, result)


class VersionAdopt(Endpoint):
    @extend_schema(request=AdoptIn, responses={201: MaterialOut})
    def post(self, request: Request, code: str, number: int) -> HttpResponse:
        """Adopt a version as a base: it gets a material of its own, and is fixed."""
        version = version_of(studio=self.studio, code=code, number=number)
        base = adopt_as_base(by=self.by, now=self.now, version=version, **self.read(AdoptIn))
        return self.created(MaterialOut, base, location=f"/api/v1/materials/{base.id}/")


def lines_written(studio: Studio, lines: list[dict[str, Any]]) -> list[WrittenLine]:
    """The lines of a request with their materials; two statements at most. Raises `Invalid` naming those not there.

    A line that says no strength is neat; a base then stands at its own.
    """
    ids = {line[name] for line in lines for name in ("material", "solvent") if line.get(name)}
    known = Material.objects.of(studio).in_bulk(ids)
    faults = Faults()
    for place, line in enumerate(lines):
        for name in ("material", "solvent"):
            if line.get(name) is not None and line[name] not in known:
                faults.add(f"lines.{place}.{name}", f"There is no material {line[name]} in this studio.")
    faults.refuse_if_any()
    unsaid = [line for line in lines if "strength" not in line]
    if any(known[line["material"]].kind == MaterialKind.BASE for line in unsaid):
        recipes = base_recipes(studio)
        for line in unsaid:
            if line["material"] in recipes:
                line["strength"] = own_strength(recipes[line["material"]])
    return [
        WrittenLine(
            material=known[line["material"]],
            solvent=known[line["solvent"]] if line.get("solvent") else None,
            **{name: line[name] for name in ("parts", "strength") if name in line},
        )
        for line in lines
    ]


def _created(view: Endpoint, version: FormulaVersion) -> HttpResponse:
    code, number = version.formula.code, version.number
    shown = version_of(studio=view.studio, code=code, number=number)
    return view.created(VersionOut, shown, location=f"/api/v1/formulas/{code}/versions/{number}/")
