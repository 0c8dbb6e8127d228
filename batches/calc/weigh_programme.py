"""The weigh plan as a mixed-integer programme: the odorants, the free solvent, and what ties them together.

All that is poured adds up to the batch; a lot that several lines take from gives no more than it has; every bounded
solvent keeps its bounds, free and carried together. Masses are counted in batches (1 = all of it). What a better plan
is stands in `weigh_choice`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from batches.calc.weigh_odorant_columns import OdorantColumns
from batches.calc.weigh_options import Options, pinned_grams
from batches.calc.weigh_request import WeighTask, solvent_share
from batches.calc.weigh_solvent_columns import SolventColumns
from batches.calc.weigh_solver import Floats, Part, Places, Programme
from inventory.calc.claims import ShelfLot

LEAST_STOCK = 1e-6
"""Grams; keeps the row of an empty lot from being divided by zero."""


@dataclass(frozen=True, slots=True)
class Draw:
    """A lot that would first be made: each gram of it takes `grams` of the lot it is made from. Places in the pool."""

    lot: int
    parent: int
    grams: float


class WeighProgramme:
    """Columns and rows of a task over some options. `settled` fixes the odorant pours and opens those of solvent."""

    def __init__(
        self,
        task: WeighTask,
        options: Options,
        *,
        may_flag: frozenset[int] = frozenset(),
        settled: bool = False,
        draws: Sequence[Draw] = (),
    ) -> None:
        self.task, self.options = task, options
        self.programme = Programme()
        self.odorants = OdorantColumns(self.programme, task, options, may_flag, settled)
        self.solvents = SolventColumns(self.programme, task, options.pool, settled)
        tie_together(
            self.programme,
            task,
            options.pool,
            [*self.odorants.parts(), self.solvents.part(len(options.wants))],
            draws=draws,
        )

    def use_of_lots(self, cost: Floats) -> tuple[Places, Floats]:
        """Columns and costs that count each lot of the pool once, however many lines are poured from it."""
        odorants, options = self.odorants, self.options
        columns = np.concatenate([odorants.pick, odorants.pour, self.solvents.pour])
        settled = len(self.solvents.pour)
        lots = np.concatenate(
            [options.lot[odorants.alone], options.lot[odorants.joint], self.solvents.lot[:settled]]
        )
        lines = np.concatenate(
            [
                options.line[odorants.alone],
                options.line[odorants.joint],
                self.solvents.line[:settled] + len(options.wants),
            ]
        )
        dear = cost[lots] > 0
        columns, lots, lines = columns[dear], lots[dear], lines[dear]
        pairs = np.unique(np.stack([lots, lines]), axis=1)
        found, count = np.unique(pairs[0], return_counts=True)
        several = found[count > 1]
        shared = np.isin(lots, several)
        used = self.programme.columns(len(several))
        here = np.arange(int(shared.sum()))
        self.programme.rows(
            len(here),
            -np.inf,
            0.0,
            (here, columns[shared], 1.0),
            (here, used[np.searchsorted(several, lots[shared])], -1.0),
        )
        return (
            np.concatenate([columns[~shared], used]),
            np.concatenate([cost[lots[~shared]], cost[several]]),
        )


def tie_together(
    programme: Programme,
    task: WeighTask,
    pool: Sequence[ShelfLot],
    parts: Sequence[Part],
    *,
    draws: Sequence[Draw] = (),
    bounds: bool = True,
) -> None:
    """Add the rows that join all columns that stand for grams: the batch as a whole, shared lots, bounded solvents."""
    part = _joined(parts)
    _add_balance(programme, task, part)
    _add_shared_lots(programme, task, pool, part, draws)
    if bounds:
        _add_bounds(programme, task, pool, part)


def fixed_pours(task: WeighTask) -> list[tuple[ShelfLot, Decimal]]:
    """Lots and grams of the lines whose every gram is pinned; these lines have no columns."""
    return [
        (task.lots[pin.lot], pin.mass)
        for want in task.wants
        if want.fixed
        for pin in want.pins
        if pin.mass is not None
    ]


def _add_balance(programme: Programme, task: WeighTask, part: Part) -> None:
    total = float(task.request.total)
    rest = 1 - float(sum(mass for _, mass in fixed_pours(task))) / total
    programme.row(rest, rest, (part.columns, part.grams / total))


def _add_shared_lots(
    programme: Programme, task: WeighTask, pool: Sequence[ShelfLot], part: Part, draws: Sequence[Draw]
) -> None:
    taken = pinned_grams(task)
    made = {draw.lot for draw in draws}
    drawn = {draw.parent for draw in draws}
    for lot in sorted((_wanted_by_several(part) | drawn) - made):
        mine = np.flatnonzero((part.lots == lot) & part.counted)
        stock = max(float(pool[lot].available - taken.get(pool[lot].id, 0)), LEAST_STOCK)
        blocks = [(part.columns[mine], part.grams[mine] / stock)]
        for draw in draws:
            if draw.parent == lot:
                its = np.flatnonzero(part.lots == draw.lot)
                blocks.append((part.columns[its], part.grams[its] * draw.grams / stock))
        programme.row(-np.inf, 1.0, *blocks)


def _wanted_by_several(part: Part) -> set[int]:
    """Lots that more than one line can take from."""
    pairs = np.unique(np.stack([part.lots[part.counted], part.lines[part.counted]]), axis=1)
    lots, lines = np.unique(pairs[0], return_counts=True)
    return set(lots[lines > 1].tolist())


def _add_bounds(programme: Programme, task: WeighTask, pool: Sequence[ShelfLot], part: Part) -> None:
    total = task.request.total
    for solvent, bound in sorted(task.request.solvent_bounds.items()):
        shares = np.array([float(solvent_share(lot, solvent)) for lot in pool])
        fixed = sum(mass * solvent_share(lot, solvent) for lot, mass in fixed_pours(task)) / total
        programme.row(
            float(bound.lowest - fixed),
            float(bound.highest - fixed),
            (part.columns, part.grams / float(total) * shares[part.lots]),
        )


def _joined(parts: Sequence[Part]) -> Part:
    return Part(
        np.concatenate([part.columns for part in parts]),
        np.concatenate([part.grams for part in parts]),
        np.concatenate([part.lots for part in parts]),
        np.concatenate([part.lines for part in parts]),
        np.concatenate([part.counted for part in parts]),
    )
