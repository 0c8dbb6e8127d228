"""Free solvent in the weigh programme: the rest of the batch, in the proportions it is written in.

Unit of its columns is the batch (1 = all of it). While the odorants are being chosen only the grams of each lot are
columns, because any rest can be poured somehow; which lots are poured, and which below the smallest pour, is decided
once the odorants are settled. The proportions may shift only when a bound is set on one of several free solvents.
"""

import numpy as np

from batches.calc.weigh_options import pinned_grams
from batches.calc.weigh_request import WeighTask
from batches.calc.weigh_solver import Floats, Part, Places, Programme
from inventory.calc.claims import ShelfLot


class SolventColumns:
    """Columns and rows of the free solvent lines; those whose every gram is pinned have none."""

    def __init__(
        self, programme: Programme, task: WeighTask, pool: tuple[ShelfLot, ...], settled: bool
    ) -> None:
        self._add, self._task = programme, task
        self._total = float(task.request.total)
        self.wants = tuple(want for want in task.solvents if not want.fixed)
        self._collect_lots(pool)
        self.share = programme.columns(
            len(self.line), self._given, np.where(self._pinned, self._given, self._most)
        )
        self._keep_proportions()
        self._add_small_rest()
        self._add_pours(settled)

    def part(self, lines_before: int) -> Part:
        """The columns as grams of lots; line numbers go on after those of the odorants."""
        grams = np.full(len(self.share), self._total)
        return Part(self.share, grams, self.lot, self.line + lines_before, ~self._pinned)

    def grams(self, values: Floats) -> tuple[Places, Floats]:
        """Places (into `line` and `lot`) that are poured in a settled answer, and grams of each."""
        poured = np.flatnonzero(values[self.pour] > 0.5)
        return poured, values[self.share][poured] * self._total

    def _collect_lots(self, pool: tuple[ShelfLot, ...]) -> None:
        taken = pinned_grams(self._task)
        where = {lot.id: at for at, lot in enumerate(pool)}
        rows: list[tuple[int, int, int, float, float]] = []
        for line, want in enumerate(self.wants):
            given = {pin.lot: pin.mass for pin in want.pins}
            for place, lot in enumerate(self._task.shelf[want.line.material]):
                if want.pins and lot.id not in given:
                    continue
                mass = given.get(lot.id)
                left = float(lot.available - taken.get(lot.id, 0))
                rows.append((line, where[lot.id], place, left, np.nan if mass is None else float(mass)))
        self.line = np.array([row[0] for row in rows], int)
        self.lot = np.array([row[1] for row in rows], int)
        self.place = np.array([row[2] for row in rows], float)
        self._most = np.clip(np.array([row[3] for row in rows], float) / self._total, 0.0, 1.0)
        pinned = np.array([row[4] for row in rows], float) / self._total
        self._pinned = ~np.isnan(pinned)
        self._given = np.nan_to_num(pinned)

    def _keep_proportions(self) -> None:
        task, lines = self._task, np.arange(len(self.wants))
        bounded = any(want.line.material in task.request.solvent_bounds for want in self.wants)
        reach = 1.0 if bounded and len(lines) > 1 else 0.0
        self._free = free = self._add.columns(min(len(lines), 1))
        more, less = self._add.columns(len(lines), 0.0, reach), self._add.columns(len(lines), 0.0, reach)
        self.shift = np.concatenate([more, less])
        self._add.rows(
            len(lines),
            0.0,
            0.0,
            (self.line, self.share, 1.0),
            (lines, np.resize(free, len(lines)), -np.array([float(want.share) for want in self.wants])),
            (lines, more, -1.0),
            (lines, less, 1.0),
        )
        self._add.row(0.0, 0.0, (more, 1.0), (less, -1.0))

    def _add_small_rest(self) -> None:
        """A whole column that is 1 while the odorants leave less than a smallest pour of some free solvent."""
        self.small_rest = self._add.columns(len(self._free), whole=True)
        if len(self.small_rest):
            least = float(self._task.request.smallest) / self._total
            least /= min(float(want.share) for want in self.wants)
            self._add.row(least, np.inf, (self._free, 1.0), (self.small_rest, least))

    def _add_pours(self, settled: bool) -> None:
        count = len(self.share) if settled else 0
        forced = np.array([float(bool(self.wants[at].pins)) for at in self.line[:count].tolist()])
        self.pour = self._add.columns(count, forced, 1.0, whole=True)
        self.flag = self._add.columns(count, whole=True)
        free = np.flatnonzero(~self._pinned[:count])
        here = np.arange(len(free))
        low = float(self._task.request.smallest) / self._total
        share, pour = self.share[free], self.pour[free]
        self._add.rows(len(here), -np.inf, 0.0, (here, share, 1.0), (here, pour, -self._most[free]))
        self._add.rows(
            len(here), 0.0, np.inf, (here, share, 1.0), (here, pour, -low), (here, self.flag[free], low)
        )
