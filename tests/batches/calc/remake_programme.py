"""An independent linear programme of a studio's days, to see whether a remake plan leaves unmet what could be met.

Stock is kept by its last good day, since what is made of a lot is good no longer than the lot. It knows nothing of
netting: it chooses freely what to make when, of what, and whom to serve. Only for requests without pars and sizes, whose
items keep for ever unless a lot says otherwise; packs may be broken.
"""

from collections import defaultdict

from scipy.optimize import linprog
from scipy.sparse import coo_matrix

from batches.calc.remake_result import PegSort, SourceSort

NEVER = 10**6


def served_by(request, plan):
    """(demand, day) → grams the plan serves then, days counted from today."""
    lots = {str(lot.id): lot.usable_from for lot in request.lots}
    receipts = {receipt.ref: receipt.day for receipt in request.receipts}
    served = defaultdict(float)
    for one in plan.allotments:
        if one.peg.sort is PegSort.ROW:
            continue
        start = (lots if one.source.sort is SourceSort.LOT else receipts)[one.source.ref]
        at = max(one.peg.day, request.today, start or request.today)
        served[one.peg.ref, (at - request.today).days] += float(one.source.mass)
    for row in plan.rows.values():
        usable = row.usable_on if row.key.startswith("make") else row.arrives_on
        for peg in row.pegs:
            if peg.sort is PegSort.BATCH:
                served[peg.ref, (max(peg.day, usable) - request.today).days] += float(peg.mass)
    return served


def could_also_be_served(request, plan, last):
    """Grams that could be served until day `last` beyond the plan, in time and at all, with nobody served later for it."""
    served = served_by(request, plan)
    model = _Model(request, max([last, *(day for _, day in served)]))
    for demand in request.demands:
        so_far = 0.0
        for day in sorted(day for ref, day in served if ref == demand.ref):
            so_far += served[demand.ref, day]
            model.at_least(
                [
                    v
                    for (ref, at), several in model.serve.items()
                    if ref == demand.ref and at <= day
                    for v in several
                ],
                so_far,
            )
    in_time = [v for (ref, at), several in model.serve.items() if at == model.own_day[ref] for v in several]
    plan_in_time = sum(mass for (ref, day), mass in served.items() if day == model.own_day[ref])
    everything = [v for several in model.serve.values() for v in several]
    return model.most(in_time) - plan_in_time, model.most(everything) - sum(served.values())


class _Model:
    """Rows of the programme: per item, last good day and day, what leaves until then is no more than what came."""

    def __init__(self, request, last):
        self.last = last
        self.count = 0
        self.lower = []
        """(variables, at least) rows."""
        goods = {NEVER}
        today = request.today
        self.came = defaultdict(list)
        """(item, good) → (day, variable or None, factor): what comes."""
        self.went = defaultdict(list)
        for one in (*request.lots, *request.receipts):
            if getattr(one, "held", False):
                continue
            good = NEVER if one.expires_on is None else (one.expires_on - today).days
            start = one.usable_from if hasattr(one, "usable_from") else one.day
            day = 0 if start is None else max(0, (start - today).days)
            if good < day:
                continue
            goods.add(good)
            self.came[one.item, good].append((day, None, float(one.mass)))
        self.goods = sorted(goods)
        for item in {offer.item for offer in request.offers}:
            soonest = min(offer.delivery_days for offer in request.offers if offer.item == item)
            for day in range(soonest, last + 1):
                self.came[item, NEVER].append((day, self.new(), 1.0))
        self.equal = []
        for recipe in request.recipes:
            self.make(recipe)
        self.own_day = {one.ref: max(0, (one.day - today).days) for one in request.demands}
        self.serve = defaultdict(list)
        self.most_of = []
        for demand in request.demands:
            mine = []
            for day in range(self.own_day[demand.ref], last + 1):
                for good in self.goods:
                    if good >= day:
                        v = self.new()
                        self.serve[demand.ref, day].append(v)
                        self.went[demand.item, good].append((day, v))
                        mine.append(v)
            self.most_of.append((mine, float(demand.mass)))

    def new(self):
        self.count += 1
        return self.count - 1

    def make(self, recipe):
        whole = float(recipe.yield_parts)
        for start in range(self.last + 1 - recipe.lead_days):
            for good in self.goods:
                if good < start + recipe.lead_days:
                    continue
                made = self.new()
                self.came[recipe.item, good].append((start + recipe.lead_days, made, 1.0))
                for one in recipe.inputs:
                    taken = []
                    for other in self.goods:
                        if other >= good:
                            v = self.new()
                            self.went[one.item, other].append((start, v))
                            taken.append(v)
                    self.equal.append((taken, made, float(one.parts) / whole))

    def at_least(self, variables, mass):
        self.lower.append((variables, mass))

    def most(self, variables):
        upper, bounds = [], []
        for key in {*self.came, *self.went}:
            for day in sorted({at for at, _ in self.went[key]}):
                there = sum(f for at, v, f in self.came[key] if v is None and at <= day)
                row = [(v, 1.0) for at, v in self.went[key] if at <= day]
                row += [(v, -f) for at, v, f in self.came[key] if v is not None and at <= day]
                upper.append(row)
                bounds.append(there)
        for mine, mass in self.most_of:
            upper.append([(v, 1.0) for v in mine])
            bounds.append(mass)
        for mine, mass in self.lower:
            upper.append([(v, -1.0) for v in mine])
            bounds.append(-mass + 2e-5)
        equal = [[*((v, 1.0) for v in taken), (made, -share)] for taken, made, share in self.equal]
        goal = [0.0] * self.count
        for v in variables:
            goal[v] = -1.0
        if not self.count:
            return 0.0
        found = linprog(
            goal,
            A_ub=_matrix(upper, self.count) if upper else None,
            b_ub=bounds or None,
            A_eq=_matrix(equal, self.count) if equal else None,
            b_eq=[0.0] * len(equal) if equal else None,
            method="highs",
        )
        assert found.status == 0, found.message
        return -found.fun


def _matrix(rows, width):
    entries = [(number, v, f) for number, row in enumerate(rows) for v, f in row]
    places, variables, factors = zip(*entries, strict=True) if entries else ((), (), ())
    return coo_matrix((factors, (places, variables)), shape=(len(rows), width)).tocsr()
