"""CSV sheets of materials and bottles: read whole, every fault named by line and column, all or nothing.

Each row goes through the shape that a single request goes through, so a sheet can say exactly what the API can. With
`dry_run` everything is checked and done, and then undone.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, cast

from django.db import transaction
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request
from rest_framework.serializers import ListField

from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.api.lot_shapes import BottleIn
from inventory.api.shapes import MaterialIn
from inventory.models import Material, Shelf
from studio.api.fields import PlainText, Shape, WholeNumber, YesNo
from studio.api.parsers import SheetParser
from studio.api.views import Endpoint
from studio.kernel.errors import Faults
from studio.kernel.sheets import Row, place, read_rows
from studio.kernel.work import work
from studio.models import Member, Studio


class ImportAsk(Shape):
    dry_run = YesNo(required=False, help_text="Check everything and write nothing.")


class ImportOut(Shape):
    rows = WholeNumber()
    written = ListField(
        child=PlainText(longest=160), help_text="What was, or would be, written, in row order."
    )
    dry_run = YesNo()


class SheetImport(Endpoint):
    """Base of the imports: subclasses name their columns and turn rows into one action."""

    parser_classes = [SheetParser]
    asks = {"POST": ImportAsk}
    required: Sequence[str] = ()
    optional: Sequence[str] = ()

    def take(self, rows: list[Row]) -> list[str]:
        """Write the rows by one action, and name what was written."""
        raise NotImplementedError

    def do_import(self, request: Request) -> HttpResponse:
        rows = read_rows(cast(bytes, request.data), required=self.required, optional=self.optional)
        dry_run = self.asked.get("dry_run", False)
        with work():
            written = self.take(rows) if rows else []
            if dry_run:
                transaction.set_rollback(True)
        result = {"rows": len(rows), "written": written, "dry_run": dry_run}
        return self.answer(ImportOut, result, status=200 if dry_run else 201, etag=False)


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
        "note",
    )

    @extend_schema(request={"text/csv": OpenApiTypes.STR}, responses={200: ImportOut, 201: ImportOut})
    def post(self, request: Request) -> HttpResponse:
        """Import materials from a CSV sheet.

        Columns: name and, if you like, kind, cas, synonyms, density_g_ml, flash_point_c, hazards (parted by spaces),
        shelf_life_days, stock_shelf_life_days, note.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[str]:
        faults = Faults()
        told = [through(MaterialIn, line, _material_cells(cells), faults) for line, cells in rows]
        faults.refuse_if_any()
        materials = add_materials(
            by=self.by,
            now=self.now,
            cards=[MaterialCard(**values) for values in told],
            places=[place(line, "") for line, _ in rows],
        )
        return [material.name for material in materials]


class BottleImport(SheetImport):
    required = ("material", "mass")
    optional = (
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
    )

    @extend_schema(request={"text/csv": OpenApiTypes.STR}, responses={200: ImportOut, 201: ImportOut})
    def post(self, request: Request) -> HttpResponse:
        """Receive bottles from a CSV sheet.

        Columns: material and mass and, if you like, strength, solvent, purity, tare, capacity_ml, supplier,
        supplier_lot, price, received_at, expires_on, shelf, keeper, note. Materials, solvents and shelves go by name,
        keepers by e-mail address.
        """
        return self.do_import(request)

    def take(self, rows: list[Row]) -> list[str]:
        faults = Faults()
        named = _Names(self.studio)
        told = [through(BottleIn, line, named.as_ids(line, cells, faults), faults) for line, cells in rows]
        faults.refuse_if_any()
        lots = receive_bottles(
            by=self.by,
            now=self.now,
            bottles=[Bottle(**named.as_rows(values)) for values in told],
            places=[place(line, "") for line, _ in rows],
        )
        return [f"{lot.number} {lot.title}" for lot in lots]


class _Names:
    """The studio's materials, shelves and members by the names a sheet uses; three statements for any sheet."""

    def __init__(self, studio: Studio) -> None:
        materials = Material.objects.of(studio)
        shelves = Shelf.objects.of(studio)
        members = Member.objects.filter(studio=studio, left_at__isnull=True).select_related("person")
        self.by_name: dict[str, Mapping[str, Any]] = {
            "material": {row.name.casefold(): row for row in materials},
            "shelf": {row.name.casefold(): row for row in shelves},
            "keeper": {row.person.email.casefold(): row for row in members},
        }
        self.by_name["solvent"] = self.by_name["material"]
        self.by_id = {
            column: {row.id: row for row in known.values()} for column, known in self.by_name.items()
        }

    def as_ids(self, line: int, cells: Mapping[str, str], faults: Faults) -> dict[str, Any]:
        """The filled cells, with names replaced by ids; a name that is not there is a fault."""
        filled: dict[str, Any] = {column: cell for column, cell in cells.items() if cell}
        for column, known in self.by_name.items():
            if column not in filled:
                continue
            row = known.get(filled[column].casefold())
            if row is None:
                faults.add(
                    place(line, column), f"Line {line}: there is no {column} “{filled[column][:80]}” here."
                )
                filled[column] = "1"
            else:
                filled[column] = str(row.id)
        return filled

    def as_rows(self, values: dict[str, Any]) -> dict[str, Any]:
        return {
            column: self.by_id[column][value] if column in self.by_id and value is not None else value
            for column, value in values.items()
        }


def _material_cells(cells: Mapping[str, str]) -> dict[str, Any]:
    filled: dict[str, Any] = {column: cell for column, cell in cells.items() if cell}
    if "hazards" in filled:
        filled["hazards"] = filled["hazards"].replace(",", " ").replace(";", " ").split()
    return filled


def through(shape: type[Shape], line: int, cells: Mapping[str, Any], faults: Faults) -> dict[str, Any]:
    """One row through the shape of a single request; its faults are gathered by line and column."""
    read = shape(data=dict(cells), context={"from_text": True})
    if read.is_valid():
        return dict(read.validated_data)
    for column, sentences in read.errors.items():
        for sentence in _sentences(sentences):
            faults.add(place(line, column), f"Line {line}, column {column}: {sentence}")
    return {}


def _sentences(told: Any) -> Iterable[str]:
    if isinstance(told, Mapping):
        for inner in told.values():
            yield from _sentences(inner)
    elif isinstance(told, list):
        for inner in told:
            yield from _sentences(inner)
    else:
        yield str(told)
