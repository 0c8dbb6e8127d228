"""Grids as people look at them: in a list, and one with its vials, their pours and what each became."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import OuterRef, Subquery

from batches.models import Batch, BatchKind, GridCell
from batches.queries.batches import BatchInHand, BenchLine, batch_in_hand, batches_of
from inventory.models import Lot, LotContent, MaterialKind
from inventory.queries.shelf import lots_of
from studio.kernel.mass import ZERO_MASS, nearest_fraction
from studio.models import ScopedQuerySet, Studio
from studio.models.scoped import NoSuchThing


@dataclass(frozen=True, slots=True)
class SideStrength:
    """How strong one side is in a vial, as a fraction: planned, and by the weighings where there are any.

    Of a made vial the strength is that of its contents, with the standard uncertainty, where the side is one material
    that the other side does not bring; else it is what its lot brings by mass, and the uncertainty is not told.
    """

    lot: Lot
    planned: Decimal
    actual: Decimal | None
    uncertainty: Decimal | None

    @property
    def doubt(self) -> Decimal | None:
        """The expanded uncertainty at k = 2, as pages show it."""
        return None if self.uncertainty is None else 2 * self.uncertainty


@dataclass(frozen=True, slots=True)
class VialRow:
    """One attempt at a vial: its pours in the order A, B, solvent, and the strengths of its sides."""

    cell: GridCell
    lines: tuple[BenchLine, ...]
    side_a: SideStrength | None
    side_b: SideStrength | None
    weighed: Decimal
    state: str
    words: str

    @property
    def positions(self) -> list[int]:
        return [one.line.position for one in self.lines]

    @property
    def open_line(self) -> int | None:
        """The first of its lines that does not hold enough yet."""
        return next((one.line.position for one in self.lines if one.state in ("open", "begun")), None)


@dataclass(frozen=True, slots=True)
class StockRow:
    """A lot of the grid as it is taken in hand: grams it is to give, has given, and the vials it goes into."""

    lot: Lot
    side: str
    target: Decimal
    weighed: Decimal
    vials: tuple[int, ...]
    first_open: int | None


@dataclass(frozen=True, slots=True)
class GridSheet:
    """A grid with all attempts at its vials, and its stocks in pouring order; `vials` are those that stand."""

    hand: BatchInHand
    attempts: list[VialRow]
    stocks: list[StockRow]

    @property
    def batch(self) -> Batch:
        return self.hand.batch

    @property
    def edition(self) -> int:
        return self.batch.edition

    @property
    def vials(self) -> list[VialRow]:
        return [row for row in self.attempts if row.cell.left_out_at is None]

    @property
    def left_out(self) -> list[VialRow]:
        return [row for row in self.attempts if row.cell.left_out_at is not None]

    @property
    def made(self) -> list[Lot]:
        return [row.cell.made for row in self.vials if row.cell.made]


def grids_of(studio: Studio) -> ScopedQuerySet[Batch]:
    """All grids with everything that is said of a batch; five statements."""
    rows: ScopedQuerySet[Batch] = batches_of(studio).filter(kind=BatchKind.GRID)
    return rows


def vial_lots(studio: Studio, number: str) -> ScopedQuerySet[Lot]:
    """The lots that the vials of a grid became, in the order of the grid; one statement."""
    cells = GridCell.objects.of(studio).filter(batch__number=number, made=OuterRef("pk"))
    rows: ScopedQuerySet[Any] = lots_of(studio).annotate(vial=Subquery(cells.values("number")[:1]))
    return rows.filter(vial__isnull=False).order_by("vial", "id")


def grid_sheet(*, studio: Studio, number: str) -> GridSheet:
    """The grid of this number. Ten statements at most, whatever its size; raises `NoSuchThing`, also for a batch of another kind."""
    hand = batch_in_hand(studio=studio, number=number)
    if hand.batch.kind != BatchKind.GRID:
        raise NoSuchThing(f"Batch {number} is no grid.")
    return sheet_of(hand)


def sheet_of(hand: BatchInHand) -> GridSheet:
    """The same of a batch in hand. Two statements."""
    cells = list(
        GridCell.objects.filter(batch=hand.batch)
        .select_related("lot_a__material", "lot_b__material", "made", "left_out_by__person")
        .order_by("number", "attempt", "id")
    )
    contents = _contents([cell.made for cell in cells if cell.made])
    lines: dict[int | None, list[BenchLine]] = defaultdict(list)
    for one in hand.lines:
        lines[one.line.cell_id].append(one)
    return GridSheet(
        hand=hand,
        attempts=[_row(cell, lines[cell.pk], contents.get(cell.made_id or 0, {})) for cell in cells],
        stocks=_stocks(hand.lines, cells),
    )


Inside = Mapping[int, tuple[Decimal, Decimal | None]]
"""Fraction and standard uncertainty by material id."""


def _contents(made: Sequence[Lot]) -> dict[int, dict[int, tuple[Decimal, Decimal | None]]]:
    """What is in these vials as they were made."""
    found: dict[int, dict[int, tuple[Decimal, Decimal | None]]] = defaultdict(dict)
    rows = LotContent.objects.filter(lot__in=[lot.pk for lot in made], revision=0)
    for lot_id, material, fraction, u in rows.values_list("lot_id", "material_id", "fraction", "uncertainty"):
        found[lot_id][material] = (fraction, u)
    return found


def _row(cell: GridCell, lines: Sequence[BenchLine], inside: Inside) -> VialRow:
    weighed = sum((one.weighed for one in lines), ZERO_MASS)
    state, words = _state(cell, lines, weighed)
    return VialRow(
        cell=cell,
        lines=tuple(lines),
        side_a=_side(cell.lot_a, cell.lot_b, lines, weighed, inside),
        side_b=_side(cell.lot_b, cell.lot_a, lines, weighed, inside),
        weighed=weighed,
        state=state,
        words=words,
    )


def _side(
    lot: Lot | None, other: Lot | None, lines: Sequence[BenchLine], weighed: Decimal, inside: Inside
) -> SideStrength | None:
    if lot is None:
        return None
    strength = lot.actual_strength if lot.actual_strength is not None else Decimal(1)
    total = sum((one.line.target for one in lines), ZERO_MASS)
    target = sum((one.line.target for one in lines if one.line.lot_id == lot.pk), ZERO_MASS)
    poured = sum((one.weighed for one in lines if one.line.lot_id == lot.pk), ZERO_MASS)
    actual = nearest_fraction(poured * strength / weighed) if weighed else None
    uncertainty = None
    if _is_alone(lot, other) and lot.material_id is not None and lot.material_id in inside:
        actual, uncertainty = inside[lot.material_id]
    return SideStrength(lot, nearest_fraction(target * strength / total), actual, uncertainty)


def _is_alone(lot: Lot, other: Lot | None) -> bool:
    """Whether the lot is of one odorant that the other side surely does not bring."""
    if lot.material is None or lot.material.kind != MaterialKind.ODORANT:
        return False
    return other is None or (other.material is not None and other.material_id != lot.material_id
                             and other.material.kind == MaterialKind.ODORANT)  # fmt: skip


def _state(cell: GridCell, lines: Sequence[BenchLine], weighed: Decimal) -> tuple[str, str]:
    if cell.left_out_at is not None:
        return "left out", cell.left_out_why
    if cell.made is not None:
        return "made", f"became {cell.made.number}"
    states = {one.state for one in lines}
    if "over" in states:
        return "over", "too much of a side"
    if states <= {"done"}:
        return "done", "poured"
    return ("begun", "begun") if weighed else ("open", "to pour")


def _stocks(lines: Sequence[BenchLine], cells: Sequence[GridCell]) -> list[StockRow]:
    numbers = {cell.pk: cell.number for cell in cells}
    side_a = {cell.lot_a_id for cell in cells}
    side_b = {cell.lot_b_id for cell in cells}
    of_lot: dict[int, list[BenchLine]] = {}
    for one in lines:
        of_lot.setdefault(one.line.lot_id, []).append(one)
    found = []
    for lot_id, pours in of_lot.items():
        standing = [one for one in pours if not one.line.left_out]
        found.append(
            StockRow(
                lot=pours[0].line.lot,
                side="A" if lot_id in side_a else "B" if lot_id in side_b else "solvent",
                target=sum((one.line.target for one in standing), ZERO_MASS),
                weighed=sum((one.weighed for one in pours), ZERO_MASS),
                vials=tuple(numbers[one.line.cell_id] for one in standing if one.line.cell_id),
                first_open=next(
                    (one.line.position for one in standing if one.state in ("open", "begun")), None
                ),
            )
        )
    return found
