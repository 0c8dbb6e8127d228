"""What a set of targets comes to, in exact decimals and in sentences: strength, solvents, deviations, changes, flags.

Works on any targets, those of the plan and those a hand has edited alike, and chooses nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from batches.calc.weigh_request import Want, WeighTask, is_as_written, solvent_share
from batches.calc.weigh_targets import Target
from inventory.calc.claims import ShelfLot
from inventory.calc.wording import figure, listed, percent, readable
from studio.kernel.mass import nearest_fraction, nearest_mass

_DIGITS = 40
NOTHING = Decimal(0)
NOTICED = Decimal("0.0001")
"""Relative deviations below this come from rounding to the microgram and are not worth a word."""


@dataclass(frozen=True, slots=True)
class LineOutcome:
    """What a line gets: grams of odorant wanted and poured, and their relative deviation (0 for free solvent).

    `sentence` says why they differ; empty where they do not.
    """

    line: int
    name: str
    wanted: Decimal
    poured: Decimal
    deviation: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class Change:
    """A line moved off its dilution as written: strengths used, and grams of solvent that this frees (negative: takes)."""

    line: int
    name: str
    written: Decimal
    used: tuple[Decimal, ...]
    lots: tuple[int, ...]
    freed: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A pour below the smallest sensible net mass; grams."""

    line: int
    name: str
    lot: int
    mass: Decimal
    smallest: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of the lots with a known cost per gram, and the lots without one. Not rounded."""

    known: Decimal
    unknown_lots: tuple[int, ...]


def reached_strength(task: WeighTask, targets: Sequence[Target]) -> Decimal:
    """Odorant of all odorant lines over everything poured; nine places."""
    odorant = sum((poured_odorant(task, want, targets) for want in task.odorants), NOTHING)
    total = sum((target.mass for target in targets), NOTHING)
    with localcontext(prec=_DIGITS):
        return nearest_fraction(odorant / total)


def reached_solvents(task: WeighTask, targets: Sequence[Target]) -> dict[int, Decimal]:
    """Mass fraction of every solvent, free and carried together, by material id; nine places."""
    grams: dict[int, Decimal] = {}
    free = {want.line.material for want in task.solvents}
    for target in targets:
        lot = task.lots[target.lot]
        for solvent in sorted({*lot.solvents, *(free & {lot.material})}):
            grams[solvent] = grams.get(solvent, NOTHING) + target.mass * solvent_share(lot, solvent)
    total = sum((target.mass for target in targets), NOTHING)
    with localcontext(prec=_DIGITS):
        return {solvent: nearest_fraction(grams[solvent] / total) for solvent in sorted(grams)}


def poured_odorant(task: WeighTask, want: Want, targets: Sequence[Target]) -> Decimal:
    """Grams of odorant that the targets of a line hold."""
    mine = [target for target in targets if target.line == want.line.key]
    return sum((target.mass * task.lots[target.lot].strength for target in mine), NOTHING)


def line_outcomes(task: WeighTask, targets: Sequence[Target]) -> tuple[LineOutcome, ...]:
    """What every line gets, in the order of the line keys."""
    by_line = _by_line(targets)
    outcomes = []
    for want in task.wants:
        mine = by_line.get(want.line.key, [])
        if want.line.is_solvent:
            poured = sum((target.mass for target in mine), NOTHING)
            outcomes.append(LineOutcome(want.line.key, want.line.name, poured, poured, NOTHING, ""))
            continue
        poured = poured_odorant(task, want, mine)
        with localcontext(prec=_DIGITS):
            deviation = nearest_fraction(poured / want.odorant - 1)
        outcomes.append(
            LineOutcome(
                want.line.key,
                want.line.name,
                want.odorant,
                poured,
                deviation,
                _why_off(task, want, mine, deviation),
            )
        )
    return tuple(outcomes)


def changes(task: WeighTask, targets: Sequence[Target]) -> tuple[Change, ...]:
    """The lines moved off the dilution as written, in the order of the line keys."""
    by_line = _by_line(targets)
    found = []
    for want in task.odorants:
        mine = by_line.get(want.line.key, [])
        lots = [task.lots[target.lot] for target in mine]
        same = task.request.same_dilution
        if all(is_as_written(want.line, lot, same) for lot in lots):
            continue
        freed = nearest_mass(want.as_written) - sum((target.mass for target in mine), NOTHING)
        found.append(
            Change(
                line=want.line.key,
                name=want.line.name,
                written=want.line.strength,
                used=tuple(lot.strength for lot in lots),
                lots=tuple(lot.id for lot in lots),
                freed=freed,
                sentence=_change_sentence(want, mine, lots, freed),
            )
        )
    return tuple(found)


def flags(task: WeighTask, targets: Sequence[Target]) -> tuple[Flag, ...]:
    """The pours below the smallest sensible net mass."""
    smallest = task.request.smallest
    names = {want.line.key: want.line.name for want in task.wants}
    return tuple(
        Flag(
            target.line,
            names[target.line],
            target.lot,
            target.mass,
            smallest,
            f"{names[target.line]}: {figure(target.mass)} g of lot {task.lots[target.lot].number} is below "
            f"{figure(smallest)} g, the smallest sensible pour.",
        )
        for target in targets
        if target.mass < smallest
    )


def cost_of(task: WeighTask, targets: Sequence[Target]) -> Cost:
    """What the targets cost by the cost per gram of their lots."""
    known = NOTHING
    unknown = set()
    for target in targets:
        price = task.lots[target.lot].cost_per_gram
        if price is None:
            unknown.add(target.lot)
        else:
            known += target.mass * price
    return Cost(known, tuple(sorted(unknown)))


def _by_line(targets: Sequence[Target]) -> Mapping[int, list[Target]]:
    by_line: dict[int, list[Target]] = {}
    for target in targets:
        by_line.setdefault(target.line, []).append(target)
    return by_line


def _why_off(task: WeighTask, want: Want, mine: Sequence[Target], deviation: Decimal) -> str:
    if abs(deviation) < NOTICED:
        return ""
    amount = (
        f"{percent(abs(deviation))} {'more' if deviation > 0 else 'less'} of {want.line.name} than wanted"
    )
    if any(pin.mass is not None for pin in want.pins):
        return f"{amount}, because its grams are pinned."
    if any(target.mass == task.request.smallest for target in mine):
        return f"{amount}, because it is raised to {figure(task.request.smallest)} g, the smallest sensible pour."
    if not task.rigid:
        return f"{amount}, because no free solvent takes up what the actual strengths differ."
    return f"{amount}."


def _change_sentence(want: Want, mine: Sequence[Target], lots: Sequence[ShelfLot], freed: Decimal) -> str:
    pours = listed(
        [
            f"{figure(target.mass)} g of lot {lot.number} ({percent(lot.strength)})"
            for target, lot in zip(mine, lots, strict=True)
        ]
    )
    effect = (
        f"frees {readable(freed)} g of solvent"
        if freed >= 0
        else f"takes {readable(-freed)} g more of the batch"
    )
    return f"{want.line.name}: {pours} instead of {readable(want.as_written)} g at {percent(want.line.strength)}; {effect}."
