"""A batch as it was planned, line by line beside the formula as written, and the lots each line could be taken from."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from batches.calc.strength import FormulaLine, restated
from batches.models import Batch, BatchKind, BatchLine
from batches.models.weigh_requests import SOLVENT_LINE, STOCK_LINE, weigh_request
from batches.queries.batches import BenchLine
from inventory.calc.claims import ShelfLot
from inventory.models import Material
from studio.kernel.errors import Refusal

Explanation = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class OtherLot:
    """A lot that a line could be poured from, with why it may not be used without a reason; `usable` without one.

    `chosen` says that the line is held to it by hand.
    """

    lot: ShelfLot
    why_not: str
    chosen: bool

    @property
    def usable(self) -> bool:
        return not self.why_not


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """A line as written, with grams where the whole can be restated so, and the pours that are planned for it."""

    written: FormulaLine
    solvent: str
    grams: Decimal | None
    pours: list[BenchLine]
    lots: list[OtherLot]
    sentences: list[str]
    flags: list[str]

    @property
    def moved(self) -> bool:
        return bool(self.sentences)

    @property
    def pinned(self) -> bool:
        return any(pour.line.pinned for pour in self.pours)


def planned_lines(
    *, batch: Batch, bench: Sequence[BenchLine], on: date, chosen: Mapping[int, str] | None = None
) -> list[PlannedLine]:
    """The lines of a batch's formula, or the two of a stock, in their order. Six statements at most.

    `chosen` are lots by number that are to be shown as chosen, by line, in place of those the plan was held to.
    """
    request = weigh_request(batch=batch, on=on)
    grams = _as_written(request.lines, batch)
    names = dict(
        Material.objects.filter(id__in={one.solvent for one in request.lines if one.solvent}).values_list(
            "id", "name"
        )
    )
    explanation: Explanation = batch.explanation
    held = {(_line_of(one, batch), one.line.lot.number) for one in bench if one.line.pinned}
    held = held if chosen is None else set(chosen.items())
    return [
        PlannedLine(
            written=line,
            solvent=names.get(line.solvent or 0, ""),
            grams=grams.get(line.key),
            pours=[one for one in bench if _line_of(one, batch) == line.key],
            lots=_lots(line.material, request.lots, on, line.key, held),
            sentences=_said(explanation, "changes", line.key),
            flags=_said(explanation, "flags", line.key),
        )
        for line in request.lines
    ]


def lots_for(*, batch: Batch, line: BatchLine, on: date) -> list[OtherLot]:
    """The lots, beside its own, that the rest of a line could be poured from. Five statements."""
    shelf = weigh_request(batch=batch, on=on).lots
    others = [lot for lot in shelf if lot.id != line.lot_id]
    return [] if line.material_id is None else _lots(line.material_id, others, on, line.position, ())


def _line_of(one: BenchLine, batch: Batch) -> int | None:
    """The position of the formula line that a pour serves; of a stock 1 is the material and 2 the solvent."""
    if batch.kind == BatchKind.STOCK:
        return SOLVENT_LINE if one.line.material_id == batch.solvent_id else STOCK_LINE
    return one.line.formula_line.position if one.line.formula_line else None


def _as_written(lines: Sequence[FormulaLine], batch: Batch) -> dict[int, Decimal]:
    """Grams of each line at its dilution as written; nothing where the stocks as written do not give the strength."""
    if batch.kind == BatchKind.STOCK:
        return {}
    try:
        return {one.key: one.mass for one in restated(lines, mass=batch.mass, strength=batch.strength)}
    except Refusal:
        return {}


def _lots(
    material: int, shelf: Sequence[ShelfLot], on: date, line: int, held: Collection[tuple[int | None, str]]
) -> list[OtherLot]:
    """The lots of a line's material that hold something, the strongest first."""
    own = [lot for lot in shelf if lot.material == material and lot.available > 0 and not lot.held]
    return [
        OtherLot(lot, lot.unusable_because(on), chosen=(line, lot.number) in held)
        for lot in sorted(own, key=lambda lot: (-lot.strength, lot.id))
    ]


def _said(explanation: Explanation, what: str, line: int) -> list[str]:
    return [one["sentence"] for one in explanation.get(what, ()) if one["line"] == line]
