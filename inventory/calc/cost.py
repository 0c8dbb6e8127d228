"""What a made lot costs per gram, from what was weighed into it and what that cost.

Each part brings its mass × the cost per gram of the lot it came from; since that cost was worked out the
same way, cost is carried through all generations. A lot whose cost nobody knows is named in the result and
never counted as free: then the cost per gram is not known either, and only the known part is told. All
amounts are in one currency, which the caller keeps beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext

from inventory.calc.wording import figure
from studio.kernel.errors import Invalid
from studio.kernel.mass import BadNumber, finite_decimal, positive_mass

COST_STEP = Decimal("0.000001")
COST_PER_GRAM_STEP = Decimal("0.000000001")
_DIGITS = 50


class NothingToCost(Invalid):
    """No parts: nothing to take a cost from."""

    code = "nothing-to-cost"
    title = "Nothing was weighed"


@dataclass(frozen=True, slots=True)
class CostPart:
    """Grams of one lot, and what one gram of it costs; `None` when that is not known."""

    lot: int
    mass: Decimal
    cost_per_gram: Decimal | None


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of a mixture. `total` and `per_gram` are `None` when lots of unknown cost are in it.

    `known` is what the other parts cost, `lots_without_cost` names the lots that are missing in it, in
    ascending order, and `mass_without_cost` is their mass in grams.
    """

    mass: Decimal
    known: Decimal
    total: Decimal | None
    per_gram: Decimal | None
    lots_without_cost: tuple[int, ...]
    mass_without_cost: Decimal


@dataclass(frozen=True, slots=True)
class PlannedAndActual:
    """The two costs of a batch; the differences are actual − planned, `None` where either is not known."""

    planned: Cost
    actual: Cost
    more_in_total: Decimal | None
    more_per_gram: Decimal | None


def nearest_cost(amount: Decimal) -> Decimal:
    """Half-even to six places: a milligram of a cheap dilution still shows."""
    return amount.quantize(COST_STEP, rounding=ROUND_HALF_EVEN)


def nearest_cost_per_gram(amount: Decimal) -> Decimal:
    """Half-even to nine places: a cheap material diluted to 0.1 % keeps four figures through generations."""
    return amount.quantize(COST_PER_GRAM_STEP, rounding=ROUND_HALF_EVEN)


def cost_of(parts: Sequence[CostPart]) -> Cost:
    """Cost of what is made from `parts`: Σ mass × cost per gram, over Σ mass for one gram.

    Raises `NothingToCost` without parts, and `BadNumber` for a mass that is not positive or a cost
    below zero.
    """
    if not parts:
        raise NothingToCost("Nothing was weighed, so there is no cost to work out.")
    for part in parts:
        _check(part)
    unknown = [part for part in parts if part.cost_per_gram is None]
    with localcontext(prec=_DIGITS):
        mass = sum((part.mass for part in parts), Decimal(0))
        known = sum((p.mass * p.cost_per_gram for p in parts if p.cost_per_gram is not None), Decimal(0))
        return Cost(
            mass=mass,
            known=nearest_cost(known),
            total=None if unknown else nearest_cost(known),
            per_gram=None if unknown else nearest_cost_per_gram(known / mass),
            lots_without_cost=tuple(sorted({part.lot for part in unknown})),
            mass_without_cost=sum((part.mass for part in unknown), Decimal("0.000000")),
        )


def planned_and_actual(*, planned: Sequence[CostPart], actual: Sequence[CostPart]) -> PlannedAndActual:
    """Cost of a batch by its targets and by its weighings, and how much dearer it became.

    Raises as `cost_of` does.
    """
    by_plan, as_weighed = cost_of(planned), cost_of(actual)
    return PlannedAndActual(
        planned=by_plan,
        actual=as_weighed,
        more_in_total=_difference(as_weighed.total, by_plan.total),
        more_per_gram=_difference(as_weighed.per_gram, by_plan.per_gram),
    )


def cost_per_gram_after_loss(*, cost_per_gram: Decimal, book: Decimal, actual: Decimal) -> Decimal:
    """Cost per gram when `book` grams are only `actual` grams any more: what is left bears the whole cost.

    Raises `BadNumber` for masses that are not positive, a cost below zero, or `actual` above `book`.
    """
    _check(CostPart(lot=0, mass=book, cost_per_gram=cost_per_gram))
    if positive_mass(actual, "the actual mass") > book:
        raise BadNumber(
            f"{figure(actual)} g are more than the {figure(book)} g in the book: nothing was lost."
        )
    with localcontext(prec=_DIGITS):
        return nearest_cost_per_gram(cost_per_gram * book / actual)


def _check(part: CostPart) -> None:
    positive_mass(part.mass, f"the mass of lot {part.lot}")
    if part.cost_per_gram is None:
        return
    if finite_decimal(part.cost_per_gram, f"the cost per gram of lot {part.lot}") < 0:
        raise BadNumber(f"The cost per gram of lot {part.lot} is {part.cost_per_gram}, below zero.")


def _difference(actual: Decimal | None, planned: Decimal | None) -> Decimal | None:
    return None if actual is None or planned is None else actual - planned
