"""What has been poured of a batch and what could still be: read by the verb that chooses a way on after an
overpour, and by the page that shows the ways.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from django.db.models import Sum

from batches.calc.overpour import OverpourLine
from batches.models.making import Batch, BatchKind, BatchLine
from inventory.models import Claim, ClaimState
from studio.kernel.mass import ZERO_MASS, nearest_mass

TOP_UP_STEPS = 5
"""A line already poured can be topped up by this many steps of the balance (common practice, no source)."""


def poured_per_line(batch: Batch) -> dict[int, Decimal]:
    """Grams that stand per line id. One statement."""
    rows = batch.weighings.all().standing().order_by("line_id").values_list("line_id")
    return dict(rows.annotate(Sum("mass")))


PerLineAndLot = Mapping[tuple[int, int], Decimal]
"""Grams by the ids of a line and of a lot: a line may be finished from another lot than it was begun from."""


def poured_per_line_and_lot(batch: Batch) -> dict[tuple[int, int], Decimal]:
    """Grams that stand, by line id and lot id. One statement."""
    rows = batch.weighings.all().standing().order_by("line_id", "lot_id").values_list("line_id", "lot_id")
    return {(line, lot): mass for line, lot, mass in rows.annotate(Sum("mass"))}


def poured_elsewhere(line: BatchLine, poured: PerLineAndLot) -> dict[int, Decimal]:
    """Grams that a line holds of other lots than the one it takes now, by lot id."""
    return {
        lot_id: mass
        for (line_id, lot_id), mass in poured.items()
        if line_id == line.id and lot_id != line.lot_id
    }


def wanted_per_lot(
    lines: Iterable[BatchLine], poured: PerLineAndLot, totals: Mapping[int, Decimal] | None = None
) -> dict[int, Decimal]:
    """Grams that these lines take of each lot in all, what is poured already included.

    A line takes its target, or its entry in `totals` by line id, and never less than it holds; one that was left out
    takes just that. What it does not hold of earlier lots comes from the lot it takes now.
    """
    holds = _per_line(poured)
    wants: dict[int, Decimal] = {}
    for line in lines:
        held = holds.get(line.id, ZERO_MASS)
        total = held if line.left_out else max((totals or {}).get(line.id, line.target), held)
        earlier = poured_elsewhere(line, poured)
        here = max(total - sum(earlier.values(), ZERO_MASS), ZERO_MASS)
        for lot_id, mass in {**earlier, line.lot_id: here}.items():
            wants[lot_id] = wants.get(lot_id, ZERO_MASS) + mass
    return {lot_id: mass for lot_id, mass in wants.items() if mass}


def _per_line(poured: PerLineAndLot) -> dict[int, Decimal]:
    holds: dict[int, Decimal] = {}
    for (line_id, _), mass in poured.items():
        holds[line_id] = holds.get(line_id, ZERO_MASS) + mass
    return holds


def allowed_band(batch: Batch, line: BatchLine) -> tuple[Decimal, Decimal]:
    """The least and the most that a line may hold, in grams: its target and the batch's tolerance either way."""
    width = nearest_mass(line.target * batch.tolerance)
    return line.target - width, line.target + width


def lines_at_stake(batch: Batch, lines: Sequence[BatchLine]) -> list[BatchLine]:
    """The lines that a way on after an overpour may change: all of a batch, of a grid those of one vial.

    That is the vial that was last poured into too much; else the last that was poured into. Two statements for a grid.
    """
    if batch.kind != BatchKind.GRID:
        return list(lines)
    poured = poured_per_line(batch)
    open_ = [line for line in lines if not line.left_out]
    over = [line for line in open_ if poured.get(line.id, ZERO_MASS) > allowed_band(batch, line)[1]]
    rows = batch.weighings.all().standing().filter(line__in=over or open_)
    last = rows.select_related("line").order_by("-id").first()
    cell = last.line.cell_id if last else lines[0].cell_id
    return [line for line in lines if line.cell_id == cell]


def overpour_lines(
    batch: Batch, lines: Sequence[BatchLine], at_stake: Sequence[BatchLine]
) -> list[OverpourLine]:
    """Those lines of a batch that are at stake, as the arithmetic of an overpour takes them; all come with their lots.

    What the shelf has for a line is what its lot holds beyond the claims of others, less what this batch has
    poured of it and what its other lines still want of it. Two statements.
    """
    by_lot = poured_per_line_and_lot(batch)
    poured = {
        line.id: sum((mass for (line_id, _), mass in by_lot.items() if line_id == line.id), ZERO_MASS)
        for line in lines
    }
    own = dict(
        Claim.objects.filter(
            purpose=batch.number, studio_id=batch.studio_id, state=ClaimState.OPEN
        ).values_list("lot_id", "mass")
    )
    step = batch.balance.readability if batch.balance else ZERO_MASS
    return [
        OverpourLine(
            key=str(line.position),
            name=line.name,
            target=line.target,
            planned=line.planned,
            poured=poured[line.id],
            available=_left_for(line, lines, by_lot, poured, own),
            cost_per_gram=line.lot.cost_per_gram,
            smallest_top_up=TOP_UP_STEPS * step,
        )
        for line in at_stake
    ]


def _left_for(
    line: BatchLine,
    lines: Sequence[BatchLine],
    by_lot: PerLineAndLot,
    poured: Mapping[int, Decimal],
    own: Mapping[int, Decimal],
) -> Decimal:
    lot = line.lot
    free = lot.on_hand - (lot.reserved - own.get(lot.id, ZERO_MASS))
    free -= sum((mass for (_, lot_id), mass in by_lot.items() if lot_id == lot.id), ZERO_MASS)
    for other in lines:
        if other.lot_id == lot.id and other.id != line.id and not other.left_out:
            free -= max(other.target - poured[other.id], ZERO_MASS)
    return max(free, ZERO_MASS)
