"""Every weigh plan of a small shelf, one by one, judged by the aims of the plan in exact fractions.

Knows nothing of the programme under test: lots are combined by enumeration; only where several lots share a line, so that
grams stay open, a linear programme of SciPy in natural units says whether they fit and how little has to be lacking.
"""

import itertools
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy.optimize import linprog

AIMS = ("flagged", "lacking", "moved", "shift", "excess", "rest, pours, openings", "expiry")


@dataclass(frozen=True)
class Way:
    """One way to pour a line: lots, whether flagged, and what is settled already about its costs and grams."""

    line: int
    lots: tuple
    flagged: bool
    lacking: int
    moved: bool
    excess: int
    grams: Fraction | None


class Shelf:
    def __init__(self, request):
        self.request = request
        self.total, self.smallest = Fraction(request.total), Fraction(request.smallest)
        self.tolerance, self.same = Fraction(request.tolerance), Fraction(request.same_dilution)
        odorant = sum(line.parts * line.strength for line in request.lines if not line.is_solvent)
        written = Fraction(odorant) / Fraction(sum(line.parts for line in request.lines))
        self.strength = Fraction(request.strength) if request.strength is not None else written
        lines = sorted(request.lines, key=lambda line: line.key)
        self.odorants = [line for line in lines if not line.is_solvent]
        self.solvents = [line for line in lines if line.is_solvent]
        self.wanted = {
            line.key: self.total * self.strength * Fraction(line.parts * line.strength) / Fraction(odorant)
            for line in self.odorants
        }
        free = sum(line.parts for line in self.solvents)
        self.shares = {line.key: Fraction(line.parts) / Fraction(free) for line in self.solvents}
        usable = [
            lot
            for lot in request.lots
            if lot.available > 0
            and (lot.id in request.allowed_lots or not (lot.held or (lot.expires_on and lot.expires_on < request.on)))
        ]
        usable.sort(key=lambda lot: (lot.expires_on or lot_far(), not lot.opened, lot.id))
        self.lots = {line.material: [lot for lot in usable if lot.material == line.material] for line in lines}

    def solvent_in(self, lot, solvent):
        return Fraction(lot.solvents.get(solvent, lot.strength if lot.material == solvent else 0))

    def main(self, lot):
        others = [(-share, key) for key, share in lot.solvents.items() if key != lot.material and share > 0]
        return min(others)[1] if others else None

    def written(self, line, lot):
        if abs(Fraction(lot.strength) - Fraction(line.strength)) > self.same * Fraction(line.strength):
            return False
        return line.solvent is None or line.strength == 1 or self.main(lot) == line.solvent

    def joinable(self, line, lot):
        most = sum(
            self.wanted[one.key] for one in self.odorants if one.material == line.material
        ) * (1 + self.tolerance)
        return not any(
            Fraction(other.available) * Fraction(other.strength) >= most
            and abs(Fraction(other.strength) - Fraction(lot.strength)) <= self.same * Fraction(lot.strength)
            and self.main(other) == self.main(lot)
            for other in self.lots[line.material]
        )

    def ways(self, line, *, every, crumbs):
        lots = self.lots[line.material]
        found = []
        for lot in lots:
            need = self.wanted[line.key] / Fraction(lot.strength)
            low = self.smallest / need
            raisable = low <= 1 + self.tolerance and Fraction(lot.available) >= self.smallest
            times = max(Fraction(1), low) if raisable else Fraction(1)
            if Fraction(lot.available) < need * times or (not raisable and not crumbs):
                continue
            found.append(
                Way(
                    line.key,
                    (lot,),
                    not raisable,
                    0 if raisable else round(float(100 * (1 - need / self.smallest))),
                    not self.written(line, lot),
                    round(float(10_000 * (times - 1))),
                    need * times,
                )
            )
        together = [lot for lot in lots if every or self.joinable(line, lot)]
        for count in range(2, len(together) + 1):
            for several in itertools.combinations(together, count):
                moved = any(not self.written(line, lot) for lot in several)
                for flagged in (False, True) if crumbs else (False,):
                    found.append(Way(line.key, several, flagged, 0, moved, 0, None))
        return found

    def best(self):
        """Values of the aims in their order, and the attempt that first gave a plan; None if there is none."""
        for every, crumbs in ((False, True), (True, True)):
            choices = [self.ways(line, every=every, crumbs=crumbs) for line in self.odorants]
            plans = (self.judged(plan) for plan in itertools.product(*choices))
            found = min((plan for plan in plans if plan is not None), default=None)
            if found is not None:
                return found
        return None

    def judged(self, plan):
        sole = all(way.grams is not None for way in plan)
        settled = self._settled(plan) if sole and not self.request.solvent_bounds and self.solvents else self._fitted(plan)
        if settled is None:
            return None
        lacking, shift, excess, small = settled
        used = {lot.id: lot for way in plan for lot in way.lots}
        unopened = len({lot.id for line in self.odorants for lot in self.lots[line.material] if not lot.opened})
        joint = sum(1 for _ in ())
        del joint, unopened
        pours = sum(len(way.lots) - 1 for way in plan)
        opened = sum(1 for lot in used.values() if not lot.opened)
        places = sum(
            self.lots[lot.material].index(lot) for way in plan for lot in way.lots
        )
        return (
            sum(way.flagged for way in plan),
            lacking,
            sum(way.moved for way in plan),
            shift,
            excess,
            (small, pours, opened),
            places,
        )

    def _settled(self, plan):
        """All grams are known: add them up."""
        taken = {}
        for way in plan:
            taken[way.lots[0].id] = taken.get(way.lots[0].id, 0) + way.grams
        by_id = {lot.id: lot for way in plan for lot in way.lots}
        if any(grams > Fraction(by_id[lot].available) for lot, grams in taken.items()):
            return None
        rest = self.total - sum(way.grams for way in plan)
        if rest < 0:
            return None
        for material in {line.material for line in self.solvents}:
            wanted = rest * sum(self.shares[line.key] for line in self.solvents if line.material == material)
            there = sum(
                Fraction(lot.available) - taken.get(lot.id, 0) for lot in self.lots[material]
            )
            if wanted > there:
                return None
        least = self.smallest / min(self.shares.values())
        return (
            sum(way.lacking for way in plan),
            0,
            sum(way.excess for way in plan),
            int(rest < least),
        )

    def _fitted(self, plan):
        """Some grams are open: fit them, in the order of the aims, by linear programmes in grams."""
        columns = [(way, lot) for way in plan for lot in way.lots]
        solvents = [(line, lot) for line in self.solvents for lot in self.lots[line.material]]
        width = len(columns) + len(solvents) + 2 * len(plan) + len(columns) + 2 * len(self.solvents) + 4
        index = itertools.count()
        grams = {key: next(index) for key in range(len(columns))}
        pours = {key: next(index) for key in range(len(solvents))}
        over = {way.line: next(index) for way in plan}
        lack = {key: next(index) for key in range(len(columns))}
        more = {line.key: next(index) for line in self.solvents}
        less = {line.key: next(index) for line in self.solvents}
        rest, factor, up, down = next(index), next(index), next(index), next(index)
        low, high = np.zeros(width), np.full(width, np.inf)
        rigid = bool(self.solvents)
        equal, upper = [], []

        def row(entries, value, rows):
            line = np.zeros(width)
            for column, coefficient in entries:
                line[column] += float(coefficient)
            rows.append((line, float(value)))

        for column in over.values():
            high[column] = float(self.tolerance)
        bounded = any(line.material in self.request.solvent_bounds for line in self.solvents)
        for line in self.solvents:
            high[more[line.key]] = high[less[line.key]] = np.inf if bounded and len(self.solvents) > 1 else 0
        low[factor], high[factor] = (1, 1) if rigid else (1 - float(self.tolerance), 1 + float(self.tolerance))
        row([(factor, 1), (up, -1), (down, 1)], 1, equal)
        for way in plan:
            mine = [key for key, (one, _) in enumerate(columns) if one is way]
            wanted = self.wanted[way.line]
            row(
                [*((grams[key], Fraction(columns[key][1].strength) / wanted) for key in mine), (factor, -1), (over[way.line], -1)],
                0,
                equal,
            )
            if not rigid:
                row([(factor, 1), (over[way.line], 1)], 1 + self.tolerance, upper)
            if way.flagged:
                high[over[way.line]] = 0
            elif len(way.lots) == 1 and rigid:
                high[over[way.line]] = low[over[way.line]] = float(way.grams * Fraction(way.lots[0].strength) / wanted - 1)
            for key in mine:
                high[grams[key]] = float(columns[key][1].available)
                if not way.flagged:
                    low[grams[key]] = float(self.smallest)
                    high[lack[key]] = 0
                else:
                    high[lack[key]] = 1 if len(way.lots) > 1 else 0
                    if len(way.lots) > 1:
                        row([(grams[key], -1 / self.smallest), (lack[key], -1)], -1, upper)
        taken = {}
        for key, (_, lot) in enumerate(columns):
            taken.setdefault(lot.id, (lot, []))[1].append(grams[key])
        for key, (_, lot) in enumerate(solvents):
            taken.setdefault(lot.id, (lot, []))[1].append(pours[key])
        for lot, mine in taken.values():
            row([(column, 1) for column in mine], lot.available, upper)
        row([(column, 1) for column in (*grams.values(), *pours.values())], self.total, equal)
        for line in self.solvents:
            mine = [pours[key] for key, (one, _) in enumerate(solvents) if one is line]
            row(
                [*((column, 1) for column in mine), (rest, -self.shares[line.key]), (more[line.key], -1), (less[line.key], 1)],
                0,
                equal,
            )
        for solvent, bound in self.request.solvent_bounds.items():
            inside = [(grams[key], self.solvent_in(lot, solvent)) for key, (_, lot) in enumerate(columns)]
            inside += [(pours[key], self.solvent_in(lot, solvent)) for key, (_, lot) in enumerate(solvents)]
            row(inside, Fraction(bound.highest) * self.total, upper)
            row([(column, -share) for column, share in inside], -Fraction(bound.lowest) * self.total, upper)

        aims = (
            ([*lack.values()], 100.0),
            ([*more.values(), *less.values()], 10_000 / float(self.total)),
            ([*over.values(), up, down] if not rigid else [over[way.line] for way in plan if way.grams is None], 10_000.0),
            ([rest], -1.0),
        )
        values = []
        for columns_of_aim, cost in aims:
            costs = np.zeros(width)
            costs[columns_of_aim] = cost
            found = linprog(
                costs,
                A_ub=np.array([one for one, _ in upper]) if upper else None,
                b_ub=np.array([value for _, value in upper]) if upper else None,
                A_eq=np.array([one for one, _ in equal]),
                b_eq=np.array([value for _, value in equal]),
                bounds=list(zip(low, high, strict=True)),
                method="highs",
            )
            if found.status != 0:
                return None
            values.append(found.fun)
            upper.append((costs, found.fun + 1e-7))
        lacking, shift, excess, most_rest = values
        small = 0
        if self.solvents:
            small = int(-most_rest < float(self.smallest / min(self.shares.values())) - 1e-7)
        fixed = sum(way.excess for way in plan if way.grams is not None) if rigid else 0
        return (
            sum(way.lacking for way in plan) + lacking,
            shift,
            excess + fixed,
            small,
        )


def lot_far():
    from datetime import date

    return date.max
