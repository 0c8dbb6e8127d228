"""Reading the ancestry and the progeny of lots out of the ledger, for tracing and for the uncertainty of contents.

The lots are found by a recursive query with UNION, which visits each once however many ways lead to it; what is
reckoned along the pours is reckoned outside, in topological order. Carrying masses inside the recursion would follow
every path, which on shared ancestors doubles at each rung. One statement per reading, whatever the depth.
"""

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from django.db import connection

from inventory.calc.lineage import Pour
from inventory.models.ledger import PASSING_ON
from studio.kernel.mass import STRENGTH_STEP, ZERO_MASS, from_micrograms

Direction = Literal["back", "forward"]
_NEAR: dict[Direction, str] = {"back": "target_id", "forward": "source_id"}
_FAR: dict[Direction, str] = {"back": "source_id", "forward": "target_id"}
CONCENTRATION_STEP = Decimal("1e-12")

_STANDING = f"""
    movement.source_id IS NOT NULL AND movement.target_id IS NOT NULL
    AND movement.reason IN ({", ".join(f"'{reason.value}'" for reason in PASSING_ON)})
    AND NOT EXISTS (SELECT 1 FROM inventory_movement undone WHERE undone.reverses_id = movement.id)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class PouredMass(Pour):
    """A pour as the ledger has it: which contents of the source it took, and the standard uncertainty of its mass."""

    source_revision: int
    mass_u: Decimal


@dataclass(frozen=True, slots=True)
class LotCard:
    """What names and describes a lot in a trace; masses in grams."""

    id: int
    number: str
    kind: str
    title: str
    strength: Decimal | None
    supplier: str
    supplier_lot: str
    made_in: str
    on_hand: Decimal
    made_mass: Decimal
    held: bool


def lots_reached(lot_ids: Sequence[int], direction: Direction) -> set[int]:
    """The ids of these lots and of all their ancestors (`back`) or descendants (`forward`)."""
    return {row[0] for row in _fetch(f"{_reached(direction, len(lot_ids))} SELECT id FROM reached", lot_ids)}


def lot_cards(lot_ids: Collection[int]) -> list[LotCard]:
    """The cards of these lots, however many, in id order."""
    listed, ids = _listed(lot_ids)
    rows = _fetch(
        f"""
        SELECT lot.id, lot.number, lot.kind, lot.title, lot.actual_strength, lot.supplier, lot.supplier_lot,
               lot.made_in, lot.on_hand, lot.made_mass, lot.held_at
        FROM inventory_lot lot WHERE lot.id {listed} ORDER BY lot.id
        """,
        [ids],
    )
    return [
        LotCard(
            id=row[0],
            number=row[1],
            kind=row[2],
            title=row[3],
            strength=None if row[4] is None else _exact(row[4], STRENGTH_STEP),
            supplier=row[5],
            supplier_lot=row[6],
            made_in=row[7],
            on_hand=from_micrograms(row[8]),
            made_mass=from_micrograms(row[9]),
            held=row[10] is not None,
        )
        for row in rows
    ]


def pours_among(lot_ids: Sequence[int], direction: Direction) -> list[PouredMass]:
    """Every standing pour into these lots and their ancestors, or out of them and their descendants."""
    rows = _fetch(
        f"""{_reached(direction, len(lot_ids))}
        SELECT movement.source_id, movement.source_revision, movement.source_concentration,
               movement.target_id, movement.mass, movement.mass_u
        FROM reached JOIN inventory_movement movement ON movement.{_NEAR[direction]} = reached.id
        WHERE {_STANDING} ORDER BY movement.id
        """,
        lot_ids,
    )
    return [
        PouredMass(
            source=source,
            source_revision=revision,
            concentration=_exact(factor, CONCENTRATION_STEP),
            target=target,
            mass=from_micrograms(mass),
            mass_u=ZERO_MASS if mass_u is None else from_micrograms(mass_u),
        )
        for source, revision, factor, target, mass, mass_u in rows
    ]


def contents_behind(lot_ids: Sequence[int]) -> dict[tuple[int, int], dict[int, Decimal]]:
    """The contents of these lots and their ancestors: fraction by material id, by (lot id, revision)."""
    rows = _fetch(
        f"""{_reached("back", len(lot_ids))}
        SELECT content.lot_id, content.revision, content.material_id, content.fraction
        FROM reached JOIN inventory_lotcontent content ON content.lot_id = reached.id ORDER BY content.id
        """,
        lot_ids,
    )
    return _by_revision(rows)


def contents_in(lot_ids: Collection[int]) -> dict[tuple[int, int], dict[int, Decimal]]:
    """The contents of these lots alone, likewise."""
    listed, ids = _listed(lot_ids)
    rows = _fetch(
        f"""
        SELECT content.lot_id, content.revision, content.material_id, content.fraction
        FROM inventory_lotcontent content WHERE content.lot_id {listed} ORDER BY content.id
        """,
        [ids],
    )
    return _by_revision(rows)


def _by_revision(rows: Iterable[tuple[Any, ...]]) -> dict[tuple[int, int], dict[int, Decimal]]:
    contents: dict[tuple[int, int], dict[int, Decimal]] = {}
    for lot_id, revision, material_id, fraction in rows:
        contents.setdefault((lot_id, revision), {})[material_id] = _exact(fraction, STRENGTH_STEP)
    return contents


def purities_behind(lot_ids: Sequence[int]) -> list[tuple[int, int, Decimal]]:
    """Of every bottle received behind these lots: lot id, material id, standard uncertainty of its strength then."""
    rows = _fetch(
        f"""{_reached("back", len(lot_ids))}
        SELECT lot.id, lot.material_id, content.uncertainty FROM reached
        JOIN inventory_lot lot ON lot.id = reached.id
        JOIN inventory_lotcontent content
        ON content.lot_id = lot.id AND content.revision = 0 AND content.material_id = lot.material_id
        WHERE content.uncertainty > 0 AND EXISTS (
            SELECT 1 FROM inventory_movement movement WHERE movement.target_id = lot.id AND movement.reason = 'received'
        )
        ORDER BY lot.id
        """,
        lot_ids,
    )
    return [(lot_id, material_id, _exact(u, CONCENTRATION_STEP)) for lot_id, material_id, u in rows]


def _reached(direction: Direction, roots: int) -> str:
    """The common table `reached(id)`: the roots and everything on that side of them."""
    return f"""
    WITH RECURSIVE reached(id) AS (
        SELECT CAST(root.column1 AS bigint) FROM (VALUES {", ".join(["(%s)"] * roots)}) AS root
        UNION
        SELECT movement.{_FAR[direction]} FROM reached
        JOIN inventory_movement movement ON movement.{_NEAR[direction]} = reached.id
        WHERE {_STANDING}
    )
    """


def _listed(ids: Collection[int]) -> tuple[str, Any]:
    """How a statement says “is among these” with one parameter, and the parameter; lists have no limit so."""
    if connection.vendor == "postgresql":
        return "= ANY(%s)", list(ids)
    return "IN (SELECT value FROM json_each(%s))", json.dumps(list(ids))


def _exact(value: Any, step: Decimal) -> Decimal:
    """A decimal column from a hand-written statement: SQLite hands it out as a float."""
    return value if isinstance(value, Decimal) else Decimal(str(value)).quantize(step)


def _fetch(statement: str, parameters: Sequence[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, list(parameters))
        return cursor.fetchall()
