"""Every weigh plan of a small shelf, one by one, judged by the aims of the plan in exact fractions.

Knows nothing of the programme under test: lots are combined by enumeration; only where several lots share a line, so that
grams stay open, a linear programme of SciPy in natural units says whether they fit and how little has to be lacking.
"""

import itertools
import math
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import numpy as np
from scipy.optimize import linprog

KEPT = 0.3
"""An aim that is reached is kept to within this part of its step, as the plan promises."""


@dataclass(frozen=True)
class Way:
    """One way to pour a line: its lots, and what is settled already about costs and grams (None: grams stay open)."""

    line: int
    lots: tuple
    flagged: bool
    lacking: int
    moved: bool
    excess: int
    grams: Fraction | None
    least: Fraction


class EnumeratedPlans:
    """The best plan of a request without pins, found by looking at all of them."""

    def __init__(self, request):
        self.request = request
        self.total, self.smallest = Fraction(request.total), Fraction(request.smallest)
        self.tolerance, self.same = Fraction(request.tolerance), Fraction(request.same_dilution)
        lines = sorted(request.lines, key=lambda line: line.key)
        self.odorants = [line for line in lines if not line.is_solvent]
        self.solvents = [line for line in lines if line.is_solvent]
        odorant = {line.key: Fraction(line.parts * line.strength) for line in self.odorants}
        written = sum(odorant.values()) / Fraction(sum(line.parts for line in lines))
        strength = written if request.strength is None else Fraction(request.strength)
        self.wanted = {
            key: self.total * strength * one / sum(odorant.values()) for key, one in odorant.items()
        }
        free = sum(line.parts for line in self.solvents)
        self.shares = {line.key: Fraction(line.parts) / Fraction(free) for line in self.solvents}
        usable = [lot for lot in request.lots if self._usable(lot)]
        usable.sort(key=lambda lot: (lot.expires_on or date.max, not lot.opened, lot.id))
        self.lots = {
            line.material: [lot for lot in usable if lot.material == line.material] for line in lines
        }

    def best(self):
        """Aims of the best plan: flagged, lacking, moved, shift, excess, small rest, extra pours, opened, places.

        None if there is no plan. Needless splits are looked at only when there is none without them.
        """
        for every in (False, True):
            found = self._best_of([self._ways(line, every) for line in self.odorants])
            if found is not None:
                return found
        return None

    def _best_of(self, choices):
        plans = sorted(
            ((self._no_better_than(plan), at, plan) for at, plan in enumerate(itertools.product(*choices))),
            key=lambda one: one[:2],
        )
        best = None
        for bound, _, plan in plans:
            if best is not None and bound >= best:
                break
            if sum(way.least for way in plan) > self.total * (1 + self.tolerance):
                continue
            settled = self._settled(plan)
            if settled is not None:
                lacking, shift, excess, small = (round(value, 3) for value in settled)
                found = (*bound[:1], lacking, bound[2], shift, excess, small, *bound[6:])
                best = found if best is None else min(best, found)
        return best

    def _no_better_than(self, plan):
        used = {lot.id: lot for way in plan for lot in way.lots}
        return (
            sum(way.flagged for way in plan),
            sum(way.lacking for way in plan),
            sum(way.moved for way in plan),
            0,
            sum(way.excess for way in plan) if self.solvents else 0,
            0,
            sum(len(way.lots) - 1 for way in plan),
            sum(not lot.opened for lot in used.values()),
            sum(self.lots[lot.material].index(lot) for way in plan for lot in way.lots),
        )

    def _usable(self, lot):
        fresh = lot.expires_on is None or lot.expires_on >= self.request.on
        return lot.available > 0 and (lot.id in self.request.allowed_lots or (fresh and not lot.held))

    def _main_solvent(self, lot):
        others = [(-share, key) for key, share in lot.solvents.items() if key != lot.material and share > 0]
        return min(others)[1] if others else None

    def _as_written(self, line, lot):
        near = abs(Fraction(lot.strength) - Fraction(line.strength)) <= self.same * Fraction(line.strength)
        return near and (
            line.solvent is None or line.strength == 1 or self._main_solvent(lot) == line.solvent
        )

    def _may_join(self, line, lot):
        """No single lot of about its strength holds enough for all lines of the material."""
        mine = [one.key for one in self.odorants if one.material == line.material]
        most = sum(self.wanted[key] for key in mine) * (1 + self.tolerance)
        return not any(
            Fraction(other.available * other.strength) >= most
            and abs(Fraction(other.strength - lot.strength)) <= self.same * Fraction(lot.strength)
            and self._main_solvent(other) == self._main_solvent(lot)
            for other in self.lots[line.material]
        )

    def _ways(self, line, every):
        lots = self.lots[line.material]
        wanted = self.wanted[line.key]
        found = [way for lot in lots for way in self._alone(line, lot)]
        together = [lot for lot in lots if every or self._may_join(line, lot)]
        for count in range(2, len(together) + 1):
            for several in itertools.combinations(together, count):
                moved = any(not self._as_written(line, lot) for lot in several)
                least = wanted / max(Fraction(lot.strength) for lot in several) * (1 - self.tolerance)
                there = sum(Fraction(lot.available * lot.strength) for lot in several)
                pours = sum(self.smallest * Fraction(lot.strength) for lot in several)
                holds = all(Fraction(lot.available) >= self.smallest for lot in several)
                if there < wanted * (1 - self.tolerance):
                    continue
                if holds and pours <= wanted * (1 + self.tolerance):
                    found.append(Way(line.key, several, False, 0, moved, 0, None, least))
                found.append(Way(line.key, several, True, 0, moved, 0, None, least))
        return found

    def _alone(self, line, lot):
        need = self.wanted[line.key] / Fraction(lot.strength)
        low = self.smallest / need
        raised = low <= 1 + self.tolerance and Fraction(lot.available) >= self.smallest
        times = max(Fraction(1), low) if raised else Fraction(1)
        least = times
        if not self.solvents:
            least = max(1 - self.tolerance, low) if raised else 1 - self.tolerance
        if Fraction(lot.available) < need * least:
            return
        yield Way(
            line.key,
            (lot,),
            not raised,
            0 if raised else max(_nearest_step(100 * (1 - need / self.smallest)), 0),
            not self._as_written(line, lot),
            _nearest_step(10_000 * (times - 1)),
            need * times,
            need * least,
        )

    def _settled(self, plan):
        """Lacking, shift, excess and whether the rest is small, of a plan that can be poured; else None."""
        open_grams = any(way.grams is None for way in plan)
        if open_grams or self.request.solvent_bounds or not self.solvents:
            return self._fitted(plan)
        taken = {}
        for way in plan:
            lot = way.lots[0]
            taken[lot.id] = taken.get(lot.id, 0) + way.grams
            if taken[lot.id] > Fraction(lot.available):
                return None
        rest = self.total - sum(way.grams for way in plan)
        for material in {line.material for line in self.solvents}:
            wanted = rest * sum(self.shares[line.key] for line in self.solvents if line.material == material)
            there = sum(Fraction(lot.available) - taken.get(lot.id, 0) for lot in self.lots[material])
            if rest < 0 or wanted > there:
                return None
        small = rest < self.smallest / min(self.shares.values())
        return sum(way.lacking for way in plan), 0, sum(way.excess for way in plan), small

    def _fitted(self, plan):
        """Some grams are open: fit them by linear programmes in grams, one aim after the other."""
        fit = _Fit(self, plan)
        values = [fit.least(columns, cost) for columns, cost in fit.aims]
        if None in values:
            return None
        lacking, shift, excess, less_rest = values
        if self.solvents:
            excess += sum(way.excess for way in plan)
        least = float(self.smallest / min(self.shares.values())) if self.solvents else 0.0
        return (
            sum(way.lacking for way in plan) + lacking,
            shift,
            excess,
            bool(self.solvents) and -less_rest < least * (1 - 1e-6),
        )


def _nearest_step(steps):
    """Whole steps, halves up."""
    return math.floor(steps + Fraction(1, 2))


class _Fit:
    """The linear programme of one plan: grams of every lot of every line, the rest, and how far off each line is."""

    def __init__(self, shelf, plan):
        self.shelf, self.plan = shelf, plan
        self._count, self._low, self._high = 0, [], []
        self._equal, self._upper = [], []
        rigid = bool(shelf.solvents)
        room = 0 if rigid else shelf.tolerance
        factor = self._column(1 - room, 1 + room)
        off = [self._column(0, None), self._column(0, None)]
        self._row(self._equal, 1, (factor, 1), (off[0], -1), (off[1], 1))
        self._grams, lack, over = [], [], []
        for way in plan:
            over.append(self._line(way, factor, lack, rigid))
        rest, shifts = self._solvents()
        self._row(self._equal, shelf.total, *((column, 1) for column, _ in self._grams))
        for lot in {lot.id: lot for _, lot in self._grams}.values():
            self._row(
                self._upper, lot.available, *((column, 1) for column, one in self._grams if one.id == lot.id)
            )
        self._bounds()
        settled = [way.grams is not None for way in plan]
        excess = [one for one, sure in zip(over, settled, strict=True) if not (sure and rigid)]
        self.aims = (
            (lack, 100.0),
            (shifts, 10_000 / float(shelf.total)),
            ([*excess, *([] if rigid else off)], 10_000.0),
            (rest, -1.0),
        )

    def _column(self, low, high):
        self._low.append(float(low))
        self._high.append(np.inf if high is None else float(high))
        self._count += 1
        return self._count - 1

    def _row(self, rows, value, *entries):
        rows.append((entries, float(value)))

    def _line(self, way, factor, lack, rigid):
        shelf = self.shelf
        wanted = shelf.wanted[way.line]
        over = self._column(0, 0 if way.flagged else shelf.tolerance)
        if rigid and way.grams is not None:
            exact = way.grams * Fraction(way.lots[0].strength) / wanted - 1
            self._low[over] = self._high[over] = float(exact)
        entries = []
        for lot in way.lots:
            column = self._column(0 if way.flagged else shelf.smallest, lot.available)
            self._grams.append((column, lot))
            entries.append((column, Fraction(lot.strength) / wanted))
            if way.flagged and len(way.lots) > 1:
                lack.append(self._column(0, 1))
                self._row(self._upper, -1, (column, -1 / shelf.smallest), (lack[-1], -1))
        self._row(self._equal, 0, *entries, (factor, -1), (over, -1))
        self._row(self._upper, 1 + shelf.tolerance, (factor, 1), (over, 1))
        return over

    def _solvents(self):
        shelf = self.shelf
        if not shelf.solvents:
            return [], []
        rest = self._column(0, None)
        bounded = any(line.material in shelf.request.solvent_bounds for line in shelf.solvents)
        reach = None if bounded and len(shelf.solvents) > 1 else 0
        shifts = []
        for line in shelf.solvents:
            shift = [self._column(0, reach), self._column(0, reach)]
            shifts += shift
            entries = []
            for lot in shelf.lots[line.material]:
                column = self._column(0, lot.available)
                self._grams.append((column, lot))
                entries.append((column, 1))
            self._row(
                self._equal, 0, *entries, (rest, -shelf.shares[line.key]), (shift[0], -1), (shift[1], 1)
            )
        self._row(
            self._equal,
            0,
            *((column, 1) for column in shifts[::2]),
            *((column, -1) for column in shifts[1::2]),
        )
        return [rest], shifts

    def _bounds(self):
        shelf = self.shelf
        for solvent, bound in shelf.request.solvent_bounds.items():
            inside = [
                (column, Fraction(lot.solvents.get(solvent, lot.strength if lot.material == solvent else 0)))
                for column, lot in self._grams
            ]
            self._row(self._upper, Fraction(bound.highest) * shelf.total, *inside)
            self._row(
                self._upper,
                -Fraction(bound.lowest) * shelf.total,
                *((column, -share) for column, share in inside),
            )

    def least(self, columns, cost):
        """The least of an aim, which is then kept for the later ones; None if nothing fits."""
        costs = np.zeros(self._count)
        costs[columns] = cost
        found = linprog(
            costs,
            A_ub=self._matrix(self._upper),
            b_ub=[value for _, value in self._upper],
            A_eq=self._matrix(self._equal),
            b_eq=[value for _, value in self._equal],
            bounds=list(zip(self._low, self._high, strict=True)),
            method="highs",
        )
        if found.status != 0:
            return None
        self._row(self._upper, found.fun + KEPT, *((column, cost) for column in columns))
        return found.fun

    def _matrix(self, rows):
        matrix = np.zeros((len(rows), self._count))
        for row, (entries, _) in enumerate(rows):
            for column, value in entries:
                matrix[row, column] += float(value)
        return matrix
