"""Rows of tracing: back from a vial with two thousand pours behind it, and forward from a bottle that went far."""

from collections.abc import Callable

from django.db import connection

from inventory.models import PASSING_ON, Lot
from inventory.models.ancestry import Direction
from inventory.queries.trace import trace_lot
from tests.bench.scene import Scene
from tests.bench.table import Row, compared

NEAR: dict[Direction, tuple[str, str]] = {
    "back": ("target_id", "source_id"),
    "forward": ("source_id", "target_id"),
}
FLOOR = "the same pours level by level, bare SQL"
AT_ONCE = 10_000


def trace_back(scene: Scene) -> list[Row]:
    """P1, by the query and over the API."""
    return _rows(scene, "P1", "trace back, 2,000 pours", scene.deep_vial, "back")


def trace_forward(scene: Scene) -> list[Row]:
    """P2, likewise."""
    reached = len(trace_lot(lot=scene.wide_bottle, direction="forward").lots)
    return _rows(scene, "P2", f"trace forward, {reached:,} descendants", scene.wide_bottle, "forward")


def _rows(scene: Scene, name: str, operation: str, lot: Lot, direction: Direction) -> list[Row]:
    floor = _level_by_level(lot.pk, direction)
    address = f"lots/{lot.number}/trace/?direction={direction}"
    return [
        compared(
            name,
            f"{operation}, query",
            FLOOR,
            floor,
            lambda: trace_lot(lot=lot, direction=direction),
            2,
        ),
        compared(name, f"{operation}, API", FLOOR, floor, lambda: scene.api.get(address), 3),
    ]


def _level_by_level(lot: int, direction: Direction) -> Callable[[], int]:
    """All pours on one side of a lot: a statement for every generation, the rows as tuples."""
    near, far = NEAR[direction]
    reasons = ", ".join(f"'{reason.value}'" for reason in PASSING_ON)

    def fetch() -> int:
        seen, level, pours = {lot}, [lot], 0
        with connection.cursor() as cursor:
            while level:
                found = set()
                for start in range(0, len(level), AT_ONCE):
                    part = level[start : start + AT_ONCE]
                    cursor.execute(
                        f"SELECT {far}, {near}, mass, source_concentration FROM inventory_movement "
                        f"WHERE {near} IN ({', '.join(['%s'] * len(part))}) AND {far} IS NOT NULL "
                        f"AND reason IN ({reasons})",
                        part,
                    )
                    rows = cursor.fetchall()
                    pours += len(rows)
                    found |= {row[0] for row in rows}
                level = list(found - seen)
                seen |= found
        return pours

    return fetch


ROWS = {"P1": trace_back, "P2": trace_forward}
