"""CSV sheets of materials and bottles. The names a sheet uses become ids, and each row goes its usual way from there."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request

from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.api.lot_shapes import BottleIn
from inventory.api.shapes import MaterialIn
from inventory.api.sheet_imports import SheetImport, through
from inventory.models import Material, MaterialKind, Shelf
from studio.api.fields import NumberField, PlainText, Shape, WholeNumber, YesNo
from studio.api.ids import IdField
from studio.kernel.errors import Faults
from studio.kernel.sheets import Row, place
from studio.models import Member, Studio

BASES_ARE_ADOPTED = "A base comes from adopting a formula version. Leave this row out, or export with kind=odorant&kind=solvent."
STILL_HELD = "This bottle is on hold. Leave this row out, or export with held=false."


class WrittenMaterial(Shape):
    line = WholeNumber(help_text="Of the sheet.")
    id = IdField(allow_null=True, help_text="Not known in a dry run.")
    name = PlainText(longest=120)


class MaterialsImportedOut(Shape):
    rows = WholeNumber()
    written = WrittenMaterial(many=True)
    dry_run = YesNo()


class MaterialImport(SheetImport):
    required = ("name",)
    optional = (
        "kind",
        "cas",
        "synonyms",
        "density_g_ml",
        "flash_point_c",
        "hazards",
        "shelf_life_days",
        "stock_shelf_life_days",
        "making_days",
        "resting_days",
        "largest_stock",
        "note",
    )
    ignored = ("id",)
    told = MaterialsImportedOut
    given_out = "id"

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR},
        responses={200: MaterialsImportedOut, 201: MaterialsImportedOut},
    )
    def post(self, request: Request) -> HttpResponse:
        """Import materials from a CSV sheet, all or none.

        Columns: name and, if you like, kind, cas, synonyms, density_g_ml, flash_point_c, hazards (parted by spaces),
        shelf_life_days, stock_shelf_life_days, note. What `materials/?format=csv` exports can be imported as it is:
        its column id is read over. Bases are not imported; export with kind=odorant&kind=solvent.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[dict[str, Any]]:
        faults = Faults()
        shape = MaterialIn(context={"from_text": True})
        told = [through(shape, line, _material_cells(line, cells, faults), faults) for line, cells in rows]
        faults.refuse_if_any()
        materials = add_materials(
            by=self.by,
            now=self.now,
            cards=[MaterialCard(**values) for values in told],
            places=[place(line, "") for line, _ in rows],
        )
        return [
            {"line": line, "id": material.id, "name": material.name}
            for (line, _), material in zip(rows, materials, strict=True)
        ]


def _material_cells(line: int, cells: Mapping[str, str], faults: Faults) -> dict[str, Any]:
    filled: dict[str, Any] = dict(cells)
    if "hazards" in filled:
        filled["hazards"] = filled["hazards"].replace(",", " ").replace(";", " ").split()
    if filled.get("kind") == MaterialKind.BASE:
        faults.add(place(line, "kind"), BASES_ARE_ADOPTED)
        del filled["kind"]
    return filled


class WrittenBottle(Shape):
    line = WholeNumber(help_text="Of the sheet.")
    number = NumberField("lot", allow_null=True, help_text="Not known in a dry run.")
    title = PlainText(longest=160)


class BottlesImportedOut(Shape):
    rows = WholeNumber()
    written = WrittenBottle(many=True)
    dry_run = YesNo()


class BottleImport(SheetImport):
    required = ("material", "mass")
    optional = (
        "title",
        "strength",
        "solvent",
        "purity",
        "tare",
        "capacity_ml",
        "supplier",
        "supplier_lot",
        "price",
        "received_at",
        "expires_on",
        "shelf",
        "keeper",
        "note",
        "hold_reason",
    )
    ignored = ("number", "declared_strength", "reserved", "available", "opened_at", "emptied_at")
    told = BottlesImportedOut
    given_out = "number"

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR},
        responses={200: BottlesImportedOut, 201: BottlesImportedOut},
    )
    def post(self, request: Request) -> HttpResponse:
        """Receive bottles from a CSV sheet, all or none.

        Columns: material and mass and, if you like, title, strength, solvent, purity, tare, capacity_ml, supplier,
        supplier_lot, price, received_at, expires_on, shelf, keeper, note. Materials, solvents and shelves go by name,
        keepers by name or e-mail address.

        What `bottles/?format=csv` exports can be received as it is: each bottle with what is left in it and what that
        cost. Read over are number, declared_strength, reserved, available, opened_at and emptied_at. A bottle that is
        on hold or empty is refused; export with open=true&held=false.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[dict[str, Any]]:
        faults = Faults()
        named = Names(self.studio)
        shape = BottleIn(context={"from_text": True})
        told = [through(shape, line, named.as_ids(line, cells, faults), faults) for line, cells in rows]
        faults.refuse_if_any()
        lots = receive_bottles(
            by=self.by,
            now=self.now,
            bottles=[Bottle(**named.as_rows(values)) for values in told],
            places=[place(line, "") for line, _ in rows],
        )
        return [
            {"line": line, "number": lot.number, "title": lot.title}
            for (line, _), lot in zip(rows, lots, strict=True)
        ]


class Names:
    """The studio's materials, shelves and members by the names a sheet uses; three statements for any sheet."""

    def __init__(self, studio: Studio) -> None:
        members = list(Member.objects.filter(studio=studio, left_at__isnull=True).select_related("person"))
        materials = _by_name((row.name, row) for row in Material.objects.of(studio))
        self.known: dict[str, Mapping[str, list[Any]]] = {
            "material": materials,
            "solvent": materials,
            "shelf": _by_name((row.name, row) for row in Shelf.objects.of(studio)),
            "keeper": _by_name(
                (name, row) for row in members for name in (row.person.name, row.person.email)
            ),
        }
        self.by_id = {
            column: {row.id: row for rows in known.values() for row in rows}
            for column, known in self.known.items()
        }

    def as_ids(self, line: int, cells: Mapping[str, str], faults: Faults) -> dict[str, Any]:
        """The cells with names replaced by ids; a name that is not there, or is no one's alone, is a fault."""
        filled: dict[str, Any] = dict(cells)
        if filled.pop("hold_reason", ""):
            faults.add(place(line, "hold_reason"), STILL_HELD)
        for column in self.known.keys() & filled.keys():
            found = self.known[column].get(filled[column].casefold(), [])
            if len(found) != 1:
                faults.add(place(line, column), _not_one(column, filled[column], found))
            filled[column] = str(found[0].id) if found else "1"
        return filled

    def as_rows(self, values: dict[str, Any]) -> dict[str, Any]:
        return {
            column: self.by_id[column][value] if column in self.by_id and value is not None else value
            for column, value in values.items()
        }


def _by_name(pairs: Iterable[tuple[str, Any]]) -> dict[str, list[Any]]:
    """The rows under each name, whatever its case; a row that has one name twice stands there once."""
    named: dict[str, list[Any]] = {}
    for name, row in pairs:
        under = named.setdefault(name.casefold(), [])
        if row not in under:
            under.append(row)
    return named


def _not_one(column: str, name: str, found: list[Any]) -> str:
    if found:
        return f"{len(found)} members are called “{name[:80]}”; give the e-mail address of the one."
    what = "material" if column == "solvent" else column
    return f"There is no {what} “{name[:80]}” in this studio."
