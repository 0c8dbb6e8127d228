"""Targets for the balance: the chosen grams on the microgram grid, adding up to the batch exactly.

Each pour is rounded to the nearest microgram, kept at or above the smallest pour where it is not flagged, and no lot
gives more than it has. What rounding leaves over goes to the free solvent, the heaviest pour first, and only where there
is none to the heaviest odorant pours, where it weighs least. All of it is whole micrograms, so nothing is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.weigh_choice import ChosenPour
from batches.calc.weigh_request import WeighTask
from studio.kernel.mass import from_micrograms, micrograms

LEAST = 1
"""A pour that rounds to nothing is still poured: one microgram."""


@dataclass(slots=True)
class _Pour:
    """One pour while it is being fitted: micrograms, and the range it may take."""

    line: int
    lot: int
    mass: int
    lowest: int
    solvent: bool
    movable: bool


@dataclass(frozen=True, slots=True)
class Target:
    """Grams to pour of a lot for a line. `flagged` when that is below the smallest pour."""

    line: int
    lot: int
    mass: Decimal
    flagged: bool


def targets_on_the_grid(task: WeighTask, chosen: Sequence[ChosenPour]) -> tuple[Target, ...] | None:
    """The targets of a chosen plan with those of the lines pinned gram by gram, by line and lot.

    None when the microgram grid cannot hold the plan: the lots or the pins leave no room for what rounding left over.
    """
    smallest = micrograms(task.request.smallest)
    pours = [*_chosen(task, chosen, smallest), *_pinned(task)]
    room = {lot: micrograms(task.lots[lot].available) for lot in sorted({pour.lot for pour in pours})}
    for pour in pours:
        room[pour.lot] -= pour.mass
    for lot in room:
        if room[lot] < 0:
            mine = [pour for pour in pours if pour.lot == lot]
            room[lot] = _shifted(mine, room[lot], dict.fromkeys(room, 0))
    rest = micrograms(task.request.total) - sum(pour.mass for pour in pours)
    if any(left < 0 for left in room.values()) or _shifted(pours, rest, room) != 0:
        return None
    return tuple(
        Target(pour.line, pour.lot, from_micrograms(pour.mass), pour.mass < smallest)
        for pour in sorted(pours, key=lambda pour: (pour.line, pour.lot))
    )


def _chosen(task: WeighTask, chosen: Sequence[ChosenPour], smallest: int) -> list[_Pour]:
    solvents = {want.line.key for want in task.solvents}
    pins = {(want.line.key, pin.lot): pin.mass for want in task.wants for pin in want.pins}
    pours = []
    for pour in chosen:
        given = pins.get((pour.line, pour.lot))
        lowest = LEAST if pour.flagged else smallest
        mass = max(round(pour.grams * 1_000_000), lowest) if given is None else micrograms(given)
        pours.append(_Pour(pour.line, pour.lot, mass, lowest, pour.line in solvents, given is None))
    return pours


def _pinned(task: WeighTask) -> list[_Pour]:
    return [
        _Pour(want.line.key, pin.lot, micrograms(pin.mass), LEAST, want.line.is_solvent, movable=False)
        for want in task.wants
        if want.fixed
        for pin in want.pins
        if pin.mass is not None
    ]


def _shifted(pours: Sequence[_Pour], rest: int, room: dict[int, int]) -> int:
    """Add `rest` micrograms (or take them away) where there is room, free solvent first; returns what found no place."""
    for pour in sorted(pours, key=lambda pour: (not pour.solvent, -pour.mass, pour.line, pour.lot)):
        if not pour.movable or rest == 0:
            continue
        step = min(rest, room[pour.lot]) if rest > 0 else max(rest, pour.lowest - pour.mass)
        pour.mass += step
        room[pour.lot] -= step
        rest -= step
    return rest
