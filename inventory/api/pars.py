"""Pars over the API: those of one material, all of them as a list and a sheet, and from a sheet."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request

from inventory.actions.pars import WantedPar, change_par, drop_par, set_pars
from inventory.api.buying_shapes import DropIn
from inventory.api.filters import ParFilters
from inventory.api.imports import Names
from inventory.api.par_shapes import (
    ParChange,
    ParIn,
    ParOut,
    ParRowIn,
    ParSheetOut,
    ParsImportedOut,
    ParsOut,
)
from inventory.api.references import resolved
from inventory.api.sheet_imports import SheetImport, through
from inventory.models import Material, Par
from inventory.queries.buying import pars_of
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.errors import Faults
from studio.kernel.sheets import Row, place


class MaterialPars(Endpoint):
    @extend_schema(responses=ParsOut)
    def get(self, request: Request, material_id: int) -> HttpResponse:
        """List how much of a material the studio wants on the shelf, by strength and solvent."""
        material = Material.objects.one(self.studio, "material", id=material_id)
        return self.answer(ParsOut, {"items": pars_of(self.studio).filter(material=material)})

    @extend_schema(request=ParIn, responses=ParOut)
    def post(self, request: Request, material_id: int) -> HttpResponse:
        """Set how much of a material, at a strength and in a solvent, is wanted on the shelf."""
        material = Material.objects.one(self.studio, "material", id=material_id)
        wanted = resolved(self.studio, self.read(ParIn))
        [par] = set_pars(by=self.by, now=self.now, pars=[WantedPar(material=material, **wanted)])
        return self.answer(ParOut, par)


class ParList(ListEndpoint):
    model = Par
    shape = ParOut
    csv_shape = ParSheetOut
    filterset_class = ParFilters
    orderings = {"material": "material__name", "low": "low", "full": "full"}
    ordering = "material"

    def rows(self) -> QuerySet[Par]:
        return pars_of(self.studio)


class ParDetail(Endpoint):
    @extend_schema(responses=ParOut)
    def get(self, request: Request, par_id: int) -> HttpResponse:
        """Read a par."""
        return self.answer(ParOut, pars_of(self.studio).one(self.studio, "par", id=par_id))

    @extend_schema(request=ParChange, responses=ParOut)
    def patch(self, request: Request, par_id: int) -> HttpResponse:
        """Change a par."""
        par = pars_of(self.studio).one(self.studio, "par", id=par_id)
        par = change_par(by=self.by, now=self.now, par=par, expected=self.edition(), **self.read(ParChange))
        return self.answer(ParOut, par)


class ParDrop(Endpoint):
    @extend_schema(request=DropIn, responses=ParOut)
    def post(self, request: Request, par_id: int) -> HttpResponse:
        """No longer want this on the shelf; answers the par as it was."""
        par = pars_of(self.studio).one(self.studio, "par", id=par_id)
        drop_par(by=self.by, now=self.now, par=par, **self.read(DropIn))
        return self.answer(ParOut, par)


class ParImport(SheetImport):
    required = ("material", "low", "full")
    optional = ("strength", "solvent")
    told = ParsImportedOut
    given_out = "id"

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR},
        responses={200: ParsImportedOut, 201: ParsImportedOut},
    )
    def post(self, request: Request) -> HttpResponse:
        """Set pars from a CSV sheet, all or none: material, low, full and, for dilutions, strength and solvent.

        Materials and solvents go by name. What `pars/?format=csv` exports can be taken as it is.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[dict[str, Any]]:
        faults = Faults()
        named = Names(self.studio)
        shape = ParRowIn(context={"from_text": True})
        told = [through(shape, line, named.as_ids(line, cells, faults), faults) for line, cells in rows]
        faults.refuse_if_any()
        pars = set_pars(
            by=self.by,
            now=self.now,
            pars=[WantedPar(**named.as_rows(values)) for values in told],
            places=[place(line, "") for line, _ in rows],
        )
        return [
            {"line": line, "id": par.id, "material": par.material.name}
            for (line, _), par in zip(rows, pars, strict=True)
        ]
