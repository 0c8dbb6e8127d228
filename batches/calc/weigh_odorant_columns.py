"""Odorant lines in the weigh programme: which option each is poured from, alone or several together.

Unit of a line's columns is its own wanted odorant (1 = all of it), so that trace lines and heavy lines are equally
exact. Each line is poured from exactly one option alone, or from several together:

- alone: a whole column *b*; the grams follow from it. Without free solvent to take up differences the masses must be
  able to give, so a column *t* between 1 ∓ tolerance goes with each *b*, tied to one common factor of all lines;
- together: *t* per lot with its whole column *y*, Σ*t* = 1 + *r*, where *r* is an excess within the tolerance that only
  raising a pour to the smallest can ask for; *t* is at least the smallest pour unless the line is flagged.

Rejected: one column *t* with its *y* for every option. It says the same, but the optimum of its relaxation mixes
lots freely, and a formula of 120 lines took minutes instead of a second.
"""

import numpy as np

from batches.calc.weigh_options import Options
from batches.calc.weigh_request import WeighTask
from batches.calc.weigh_solver import Floats, Part, Places, Programme


class OdorantColumns:
    """Columns and rows of the odorant lines. `settled` fixes which lots are poured; only grams stay open then.

    `may_flag` names the lines (places in `options.wants`) whose split pours may fall below the smallest pour.
    """

    def __init__(
        self, programme: Programme, task: WeighTask, options: Options, may_flag: frozenset[int], settled: bool
    ) -> None:
        self._add, self._options, self._rigid = programme, options, task.rigid
        self._tolerance = float(task.request.tolerance)
        self.alone = np.flatnonzero(options.alone)
        self.joint = self._joint_options()
        self.split = np.unique(options.line[self.joint])
        self._at = np.searchsorted(self.split, options.line[self.joint])
        self._add_picks()
        self._add_pours(may_flag, settled)
        self._add_floor_and_ceiling()
        if task.rigid:
            self._tie_to_wanted()
        else:
            self._add_shares_alone()
            self._tie_to_common_factor()

    def parts(self) -> list[Part]:
        """The columns as grams of lots."""
        options = self._options
        lots, lines = options.lot[self.alone], options.line[self.alone]
        free = np.isnan(options.given[self.joint])
        all_of_it = np.ones(len(lots), bool)
        alone = (
            Part(self.pick, options.grams[self.alone], lots, lines, all_of_it)
            if self._rigid
            else Part(self.alone_share, options.need[self.alone], lots, lines, all_of_it)
        )
        lots, lines = options.lot[self.joint], options.line[self.joint]
        return [alone, Part(self.share, options.need[self.joint], lots, lines, free)]

    def grams(self, values: Floats) -> tuple[Places, Floats]:
        """Options poured, and grams of each, in an answer."""
        options = self._options
        taken = self.alone[values[self.pick] > 0.5]
        times = options.times[taken] if self._rigid else values[self.alone_share][values[self.pick] > 0.5]
        poured = values[self.pour] > 0.5
        joined = self.joint[poured]
        return (
            np.concatenate([taken, joined]),
            np.concatenate([options.need[taken] * times, options.need[joined] * values[self.share][poured]]),
        )

    def _joint_options(self) -> Places:
        """Options that may be poured together, of lines that have at least two of them."""
        may = np.flatnonzero(self._options.together)
        count = np.bincount(self._options.line[may], minlength=len(self._options.wants))
        chosen: Places = may[count[self._options.line[may]] >= 2]
        return chosen

    def _add_picks(self) -> None:
        """Each line exactly once: one option alone, or a split."""
        self.pick = self._add.columns(len(self.alone), whole=True)
        self.split_pick = self._add.columns(len(self.split), whole=True)
        self._add.rows(
            len(self._options.wants),
            1.0,
            1.0,
            (self._options.line[self.alone], self.pick, 1.0),
            (self.split, self.split_pick, 1.0),
        )

    def _add_pours(self, may_flag: frozenset[int], settled: bool) -> None:
        """Lots of a split: at least two; all of them when they are pinned or settled; grams fixed when they are pinned."""
        options, joint, at = self._options, self.joint, self._at
        pinned = np.array([bool(options.wants[line].pins) for line in options.line[joint]], bool)
        given = np.nan_to_num(options.given[joint] / options.need[joint])
        room = np.minimum(1 + self._tolerance, np.maximum(options.left[joint], 0.0) / options.need[joint])
        self._most = np.where(np.isnan(options.given[joint]), room, given)
        flag = np.array([line in may_flag for line in self.split.tolist()], float)
        self.share = self._add.columns(len(joint), given, self._most)
        self.pour = self._add.columns(len(joint), np.where(pinned | settled, 1.0, 0.0), 1.0, whole=True)
        self.split_flag = self._add.columns(len(self.split), flag if settled else 0.0, flag, whole=True)
        self.lacking = self._add.columns(len(joint), 0.0, flag[at])
        here, lines = np.arange(len(joint)), np.arange(len(self.split))
        self._add.rows(len(here), -np.inf, 0.0, (here, self.pour, 1.0), (here, self.split_pick[at], -1.0))
        self._add.rows(len(here), -np.inf, 0.0, (here, self.lacking, 1.0), (here, self.split_flag[at], -1.0))
        self._add.rows(len(lines), 0.0, np.inf, (at, self.pour, 1.0), (lines, self.split_pick, -2.0))

    def _add_floor_and_ceiling(self) -> None:
        """A lot of a split gives nothing unless poured, then at least the smallest pour, less what a flag lets it lack."""
        free = np.flatnonzero(np.isnan(self._options.given[self.joint]))
        here = np.arange(len(free))
        share, pour, most = self.share[free], self.pour[free], self._most[free]
        self._add.rows(len(here), -np.inf, 0.0, (here, share, 1.0), (here, pour, -most))
        scale = np.maximum(self._options.low[self.joint[free]], 1.0)
        low = self._options.low[self.joint[free]] / scale
        self._add.rows(
            len(here),
            0.0,
            np.inf,
            (here, share, 1 / scale),
            (here, pour, -low),
            (here, self.lacking[free], low),
        )

    def _tie_to_wanted(self) -> None:
        """A split holds the wanted odorant, or more within the tolerance, but exactly it when it is flagged."""
        lines = np.arange(len(self.split))
        self.over = self._add.columns(len(lines), 0.0, self._tolerance)
        self.factor_off = np.zeros(0, int)
        self._add.rows(
            len(lines),
            0.0,
            0.0,
            (self._at, self.share, 1.0),
            (lines, self.split_pick, -1.0),
            (lines, self.over, -1.0),
        )
        self._add.rows(
            len(lines),
            -np.inf,
            0.0,
            (lines, self.over, 1.0),
            (lines, self.split_pick, -self._tolerance),
            (lines, self.split_flag, self._tolerance),
        )

    def _add_shares_alone(self) -> None:
        """What an option poured alone gives, where it is not fixed to the wanted odorant."""
        options, alone = self._options, self.alone
        most = np.minimum(1 + self._tolerance, options.left[alone] / options.need[alone])
        self.alone_share = self._add.columns(len(alone), 0.0, most)
        here = np.arange(len(alone))
        self._add.rows(len(here), -np.inf, 0.0, (here, self.alone_share, 1.0), (here, self.pick, -most))
        sound = np.flatnonzero(~options.flagged[alone])
        here = np.arange(len(sound))
        low = np.maximum(options.low[alone[sound]], 1 - self._tolerance)
        self._add.rows(
            len(here), 0.0, np.inf, (here, self.alone_share[sound], 1.0), (here, self.pick[sound], -low)
        )

    def _tie_to_common_factor(self) -> None:
        """Every line holds its wanted odorant times one factor of all lines, or more where a pour must be raised."""
        options, lines = self._options, np.arange(len(self._options.wants))
        self.over = self._add.columns(len(lines), 0.0, self._tolerance)
        factor = self._add.columns(1, 1 - self._tolerance, 1 + self._tolerance)
        self.factor_off = self._add.columns(2, 0.0, self._tolerance)
        self._add.row(1.0, 1.0, (factor, 1.0), (self.factor_off, np.array([-1.0, 1.0])))
        common = np.repeat(factor, len(lines))
        self._add.rows(
            len(lines),
            0.0,
            0.0,
            (options.line[self.alone], self.alone_share, 1.0),
            (options.line[self.joint], self.share, 1.0),
            (lines, common, -1.0),
            (lines, self.over, -1.0),
        )
        self._add.rows(
            len(lines), -np.inf, 1 + self._tolerance, (lines, common, 1.0), (lines, self.over, 1.0)
        )
        crumbs = np.flatnonzero(options.flagged[self.alone])
        self._add.rows(
            len(lines),
            -np.inf,
            self._tolerance,
            (lines, self.over, 1.0),
            (options.line[self.alone[crumbs]], self.pick[crumbs], self._tolerance),
            (self.split, self.split_flag, self._tolerance),
        )
