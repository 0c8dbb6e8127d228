"""The best a batch can still become when shelf or vessel does not allow to make it large enough.

Wanted are final masses *y*ᵢ between what is poured and what the shelf adds, in all no more than the vessel
holds, whose largest relative deviation *D* of a line's part from its planned part *p*ᵢ is smallest. Both the
part *y*ᵢ/*Y* and the total *Y* = Σ*y*ᵢ are open, so *D* is a quotient of unknowns; with ζᵢ = *y*ᵢ/(*p*ᵢ*Y*) and
*v* = *T*/*Y*, *T* the present total target (the substitution of Charnes and Cooper, 1962), all is linear:

    minimise *D*   with |ζᵢ − 1| ≤ *D*,  Σ*p*ᵢζᵢ = 1,  *a*ᵢ*v* ≤ *p*ᵢ*T*ζᵢ ≤ *b*ᵢ*v*,  *v* ≥ *T*/capacity

Within the smallest *D*, the total nearest to the present one is taken, that is the fewest extra grams. What
is then still open goes to all lines alike: ζᵢ is one number for all, held back only where a line meets its
bound, which minimises Σ*p*ᵢ(ζᵢ − 1)² and keeps the free lines in their planned proportion to each other, so
that one scarce line excuses no other. A top-up of a line that was poured before may need a smallest amount;
a yes-or-no variable per such line then makes it a mixed-integer programme, in which, the total found, as few
lines as possible are topped up. HiGHS solves it on one thread: the same input gives the same answer.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction

import highspy
import numpy as np

from batches.calc.enlarging import deviations
from batches.calc.quiet_highs import QuietHighs

_MOST_OVER = 1e4
"""No line needs to hold ten thousand times its part; a fuller shelf would only spoil the scaling."""
_ROOM = 1.001
_INFINITE = float(highspy.kHighsInf)
_OPTIONS: Mapping[str, bool | int | float] = {
    "threads": 1,
    "primal_feasibility_tolerance": 1e-9,
    "dual_feasibility_tolerance": 1e-9,
    "mip_feasibility_tolerance": 1e-9,
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 1e-9,
    # A limit in nodes, not in seconds: the answer must not depend on how fast the machine is.
    "mip_max_nodes": 5000,
}


class SolverFailed(RuntimeError):
    """HiGHS gave no answer to a programme that has one: a fault of the programme, not of the input."""


def best_masses(
    *,
    planned: Sequence[int],
    targets: Sequence[int],
    poured: Sequence[int],
    available: Sequence[int],
    smallest: Sequence[int],
    capacity: int | None,
) -> list[int] | None:
    """Final mass of every line, all in micrograms; `None` when nothing can be poured at all.

    That is so when neither batch nor shelf holds anything, or when more is poured than the vessel should
    hold. The total is never above `capacity` otherwise.
    """
    limit = sum(poured) + sum(available) if capacity is None else capacity
    if sum(poured) > limit or sum(poured) + sum(available) == 0:
        return None
    masses = _Programme(planned, targets, poured, available, smallest, limit).solved()
    return _on_the_grid(masses, poured, available, smallest, limit)


class _Programme:
    """The programmes over one set of rows, for *n* lines.

    Columns: ζ of each line, then yes-or-no of each line in `choices`, then *v*, |*v* − 1| and *D*.
    """

    def __init__(
        self,
        planned: Sequence[int],
        targets: Sequence[int],
        poured: Sequence[int],
        available: Sequence[int],
        smallest: Sequence[int],
        limit: int,
    ) -> None:
        lines = range(len(planned))
        self.parts = np.array(planned, dtype=float) / sum(planned)
        self.total = float(sum(targets))
        wanted = self.parts * self.total
        self.done = np.array(poured, dtype=float) / wanted
        self.enough = self.done + np.array(smallest, dtype=float) / wanted
        self.most = self.done + np.array(available, dtype=float) / wanted
        self.most = np.minimum(self.most, _MOST_OVER * max(1.0, *self.done))
        topped = [line for line in lines if poured[line] and smallest[line]]
        self.choices = [line for line in topped if smallest[line] <= available[line]]
        too_scarce = [line for line in topped if smallest[line] > available[line]]
        self.most[too_scarce] = self.done[too_scarce]
        # These two only help the solver; a little room keeps rounding from making the programme empty.
        self.v_most = _ROOM * self.total / sum(poured) if any(poured) else _INFINITE
        self.bound = _ROOM * _some_deviation(planned, targets, poured, available, limit) + (_ROOM - 1)
        self.v_least = self.total / limit
        self.v = len(planned) + len(self.choices)
        self.gap, self.worst = self.v + 1, self.v + 2
        # What one programme may give away of the last one's value: a mixed-integer one is less sharp.
        self.slack = 1e-7 if self.choices else 1e-9
        self.solver = QuietHighs()

    def solved(self) -> list[float]:
        """Final masses in micrograms, before they are rounded."""
        self._pass_model()
        first = self._minimised([self.worst])
        if first is None:
            raise SolverFailed(f"The programme of {len(self.parts)} lines has no solution.")
        worst, values = first
        self._hold(self.worst, worst)
        nearest = self._minimised([self.gap])
        if nearest is None:
            # Where amounts differ a hundred million times, the noise of the solver can leave a later
            # programme empty; what was found before is then the answer.
            return self._divided(values, worst)
        gap, values = nearest
        if self.choices:
            self._hold(self.gap, gap)
            fewest = self._minimised(range(len(self.parts), self.v))
            values = values if fewest is None else fewest[1]
        return self._divided(values, worst)

    def _hold(self, column: int, value: float) -> None:
        """Let the programmes that follow give nothing of this value away, but for the noise of the solver."""
        self.solver.changeColBounds(column, 0.0, value + self.slack * (1 + value))

    def _divided(self, values: Sequence[float], worst: float) -> list[float]:
        """The total shared out so that all lines with room deviate alike."""
        v = values[self.v]
        low, high = self.done * v, self.most * v
        for place, line in enumerate(self.choices):
            topped = values[len(self.parts) + place] > 0.5
            low[line], high[line] = (self.enough[line] * v, high[line]) if topped else (low[line], low[line])
        low = np.maximum(low, np.minimum(1 - worst, high))
        high = np.minimum(high, np.maximum(1 + worst, low))
        levels = np.sort(np.concatenate([low, high]))
        filled = [float(self.parts @ np.clip(level, low, high)) for level in levels]
        zeta = np.clip(np.interp(1.0, filled, levels), low, high)
        masses: list[float] = (zeta * self.parts * (self.total / v)).tolist()
        return masses

    def _rows(self) -> list[tuple[float, float, dict[int, float]]]:
        """Lower bound, upper bound and terms of every row."""
        v, gap, worst = self.v, self.gap, self.worst
        rows: list[tuple[float, float, dict[int, float]]] = [
            (1.0, 1.0, dict(enumerate(self.parts))),
            (-_INFINITE, 1.0, {v: 1.0, gap: -1.0}),
            (1.0, _INFINITE, {v: 1.0, gap: 1.0}),
        ]
        for line in range(len(self.parts)):
            rows += [
                (-_INFINITE, 1.0, {line: 1.0, worst: -1.0}),
                (1.0, _INFINITE, {line: 1.0, worst: 1.0}),
                (0.0, _INFINITE, {line: 1.0, v: -self.done[line]}),
                (-_INFINITE, 0.0, {line: 1.0, v: -self.most[line]}),
            ]
        for yes, line in enumerate(self.choices, start=len(self.parts)):
            # No: stays at what is in. Yes: at least the smallest amount more. Either is loosened no
            # further than the other case can need.
            loose = (self.enough[line] - self.done[line]) * self.v_most
            rows += [
                (-_INFINITE, 0.0, {line: 1.0, v: -self.done[line], yes: -(1.0 + self.bound)}),
                (-loose, _INFINITE, {line: 1.0, v: -self.enough[line], yes: -loose}),
            ]
        return rows

    def _pass_model(self) -> None:
        rows, columns = self._rows(), self.worst + 1
        lower, upper = np.zeros(columns), np.full(columns, _INFINITE)
        upper[len(self.parts) : self.v] = 1.0
        lower[self.v], upper[self.v] = self.v_least, self.v_most
        upper[self.worst] = self.bound
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = columns, len(rows)
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = np.zeros(columns), lower, upper
        lp.row_lower_ = np.array([low for low, _, _ in rows])
        lp.row_upper_ = np.array([high for _, high, _ in rows])
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(terms) for _, _, terms in rows)])
        lp.a_matrix_.index_ = np.array([column for _, _, terms in rows for column in terms])
        lp.a_matrix_.value_ = np.array([value for _, _, terms in rows for value in terms.values()])
        if self.choices:
            whole, kind = range(len(self.parts), self.v), highspy.HighsVarType
            lp.integrality_ = [kind.kInteger if c in whole else kind.kContinuous for c in range(columns)]
        for option, value in _OPTIONS.items():
            self.solver.setOptionValue(option, value)
        self.solver.passModel(lp)

    def _minimised(self, columns: Sequence[int]) -> tuple[float, list[float]] | None:
        """The smallest sum of these columns, and all columns there; `None` if the programme is empty."""
        for column in range(self.worst + 1):
            self.solver.changeColCost(column, 1.0 if column in columns else 0.0)
        self.solver.run()
        info = self.solver.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None
        return float(info.objective_function_value), list(self.solver.getSolution().col_value)


def _some_deviation(
    planned: Sequence[int],
    targets: Sequence[int],
    poured: Sequence[int],
    available: Sequence[int],
    limit: int,
) -> float:
    """Largest deviation of one thing that can surely be done: pour the open lines as far as they go."""
    wish = [
        0 if done else min(target, more)
        for target, done, more in zip(targets, poured, available, strict=True)
    ]
    part = min(Fraction(1), Fraction(limit - sum(poured), sum(wish))) if any(wish) else Fraction(0)
    masses = [done + part * more for done, more in zip(poured, wish, strict=True)]
    return float(max(abs(deviation) for deviation in deviations(planned, masses)))


def _on_the_grid(
    masses: Sequence[float],
    poured: Sequence[int],
    available: Sequence[int],
    smallest: Sequence[int],
    limit: int,
) -> list[int]:
    """Nearest whole micrograms, but never beyond shelf or vessel, and no top-up a microgram too small."""
    added = []
    for mass, done, more, least in zip(masses, poured, available, smallest, strict=True):
        nearest = min(max(round(mass) - done, 0), more)
        too_small = done > 0 and 0 < nearest < least
        added.append((least if nearest > least / 2 else 0) if too_small else nearest)
    surplus = sum(poured) + sum(added) - limit
    for line in sorted(range(len(added)), key=lambda place: -added[place]):
        # Rounding adds at most half a microgram per line; the largest additions give it back unnoticed.
        given_back = min(max(surplus, 0), added[line])
        added[line] -= given_back
        surplus -= given_back
    return [done + more for done, more in zip(poured, added, strict=True)]
