"""Materials over the API."""

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.materials import MaterialCard, add_materials, change_material, set_solubility
from inventory.api.filters import MaterialFilters
from inventory.api.references import resolved
from inventory.api.shapes import (
    MaterialChange,
    MaterialIn,
    MaterialOut,
    SolubilitiesOut,
    SolubilityIn,
    SolubilityOut,
)
from inventory.api.sheet_shapes import MaterialSheetOut
from inventory.models import Material, Solubility
from studio.api.views import Endpoint, ListEndpoint


class MaterialList(ListEndpoint):
    model = Material
    shape = MaterialOut
    csv_shape = MaterialSheetOut
    filterset_class = MaterialFilters
    orderings = ("name", "kind", "cas")
    ordering = "name"

    def rows(self) -> QuerySet[Material]:
        return Material.objects.of(self.studio)

    @extend_schema(request=MaterialIn, responses={201: MaterialOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a material."""
        card = MaterialCard(**self.read(MaterialIn))
        [material] = add_materials(by=self.by, now=self.now, cards=[card])
        return self.created(MaterialOut, material, location=f"/api/v1/materials/{material.id}/")


class MaterialDetail(Endpoint):
    @extend_schema(responses=MaterialOut)
    def get(self, request: Request, material_id: int) -> HttpResponse:
        """Read a material."""
        return self.answer(MaterialOut, self._material(material_id))

    @extend_schema(request=MaterialChange, responses=MaterialOut)
    def patch(self, request: Request, material_id: int) -> HttpResponse:
        """Change a material.

        Only the fields sent are changed. The kind stays once there are lots.
        """
        material = change_material(
            by=self.by,
            now=self.now,
            material=self._material(material_id),
            expected=self.edition(),
            changes=self.read(MaterialChange),
        )
        return self.answer(MaterialOut, material)

    def _material(self, material_id: int) -> Material:
        return Material.objects.one(self.studio, "material", id=material_id)


class MaterialSolubilities(Endpoint):
    @extend_schema(responses=SolubilitiesOut)
    def get(self, request: Request, material_id: int) -> HttpResponse:
        """List in which solvents a material dissolves up to what fraction."""
        material = Material.objects.one(self.studio, "material", id=material_id)
        rows = Solubility.objects.filter(material=material).select_related("solvent").order_by("id")
        return self.answer(SolubilitiesOut, {"items": rows})

    @extend_schema(request=SolubilityIn, responses=SolubilityOut)
    def post(self, request: Request, material_id: int) -> HttpResponse:
        """Set the solubility in one solvent; it bounds the stocks that can be planned."""
        material = Material.objects.one(self.studio, "material", id=material_id)
        wanted = resolved(self.studio, self.read(SolubilityIn))
        row = set_solubility(by=self.by, now=self.now, material=material, **wanted)
        return self.answer(SolubilityOut, row)
