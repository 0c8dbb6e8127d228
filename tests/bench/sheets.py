"""The row of receiving a sheet of bottles, against inserting the same rows."""

from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from inventory.models import Lot, LotContent, Movement
from tests.bench.filled.tables import Table, stamp
from tests.bench.scene import Scene
from tests.bench.table import Row, compared

BOTTLES = 10_000


def receive_sheet(scene: Scene) -> list[Row]:
    """P13. Both are undone at the end, the import by being a dry run."""
    sheet = "material,mass,supplier,supplier_lot,price,purity,shelf\n" + "".join(
        f"odorant {place % 60:03d},100,Supplier {place % 17},L{place},12.50,0.98,Shelf A\n"
        for place in range(BOTTLES)
    )

    def ours() -> Any:
        answer = scene.api.call(
            "POST", "bottles/import/?dry_run=true", sheet.encode(), content_type="text/csv; charset=utf-8"
        )
        assert answer.status_code == 200, answer.content[:400]

    return [
        compared(
            "P13",
            f"CSV import of {BOTTLES:,} bottles",
            "bulk insert of the same rows",
            lambda: _insert(scene),
            ours,
            4,
            runs=3,
        )
    ]


def _insert(scene: Scene) -> None:
    when = stamp(timezone.now())
    studio, by = scene.by.studio_id, scene.by.pk
    lots = Table(
        Lot, "number", "made_at", studio=studio, by=by, kind="bottle", title="odorant 001", material=scene.material,
        declared_strength=1, actual_strength=1, made_mass=10**8, on_hand=10**8, reserved=0, supplier="Supplier",
        supplier_lot="L1", purity="0.98", cost_per_gram="0.125", made_in="", recorded_at=when, contents_revision=0,
        concentration=1, hold_reason="", note="", edition=1,
    )  # fmt: skip
    contents = Table(LotContent, "lot", studio=studio, material=scene.material, fraction=1, revision=0)
    movements = Table(
        Movement, "target", studio=studio, by=by, mass=10**8, reason="received", source_concentration=1, why="",
        batch="", at=when, recorded_at=when,
    )  # fmt: skip
    for table in (lots, contents, movements):
        table.last_id = 10**9
    for place in range(BOTTLES):
        lot = lots.add(f"99-{place:04d}-0", when)
        contents.add(lot)
        movements.add(lot)
    with transaction.atomic(), connection.cursor():
        for table in (lots, contents, movements):
            _insert_rows(table)
        transaction.set_rollback(True)


def _insert_rows(table: Table) -> None:
    """By INSERT with many rows at once, as a bulk insert of the framework goes."""
    names = ", ".join(f'"{column}"' for column in table.columns)
    marks = f"({', '.join(['%s'] * len(table.columns))})"
    at_once = 30_000 // len(table.columns)
    with connection.cursor() as cursor:
        for start in range(0, len(table.rows), at_once):
            part = table.rows[start : start + at_once]
            cursor.execute(
                f"INSERT INTO {table.model._meta.db_table} ({names}) VALUES {', '.join([marks] * len(part))}",
                [value for row in part for value in row],
            )


ROWS = {"P13": receive_sheet}
