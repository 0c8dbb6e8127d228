"""The shortest good route from the lots on the shelf to a stock, through new intermediates where needed.

A route is a chain of steps: lot → intermediate → … → stock. Each step must take at least the smallest net
weight of the parent and of the solvent, no more than the parent has, and the chain's relative uncertainty,
expanded by 2, must meet the tolerance. Fewest steps win; then least odorant drawn, least mass made, smallest
uncertainty, and the lots in the order given.

The search runs from the stock backwards over a small graph: a node is (strength on the ladder, round size),
an edge one weighing step into it. Nodes are reached layer by layer, so the first layer that a lot can close
has the fewest steps. A node keeps only those ways on from it of which none is both more uncertain and more
mass than another; what follows depends on the node alone, so nothing better is lost. Rejected: Dijkstra with
one cost, which cannot carry the bound on uncertainty (a dearer way may be the only one certain enough);
listing every chain, which grows as (strengths × sizes)^steps and serves in the tests as the comparison; free
sizes instead of round ones, which save milligrams of an intermediate nobody would make 1.37 g of.

Worked table, 5 g of 0.1 % from neat on a balance that weighs from 0.2 g:
    neat → 0.1 %          0.005 g of neat                                   too small
    neat → 2 % → 0.1 %    0.2 g of neat to 10 g, then 0.25 g of it to 5 g   good
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext
from itertools import pairwise

from batches.calc.dilution import (
    BadStock,
    NoGoodRoute,
    NoStrongerParent,
    NotEnoughParent,
    ParentLot,
    check_parents,
    check_solubility,
)
from inventory.calc.weighing import BalanceTraits, net_mass_uncertainty, smallest_net_weight
from inventory.calc.wording import figure, percent, readable
from studio.kernel.mass import LARGEST_MASS, exact_strength, nearest_mass, positive_mass

COVERAGE = Decimal(2)
MOST_STEPS = 4
LADDER: tuple[Decimal, ...] = tuple(
    Decimal(step).scaleb(-decade) for decade in range(1, 6) for step in (5, 2, 1)
)
"""Strengths of intermediates: 50 %, 20 %, 10 %, 5 % … 0.001 %."""
ROUND_SIZES: tuple[Decimal, ...] = (
    *(Decimal(step).scaleb(decade) for decade in range(-1, 2) for step in (1, 2, 5)),
    Decimal(100),
)
"""Sizes an intermediate is made in: 0.1, 0.2, 0.5, 1 g … 100 g, as far as the balance carries."""
_DIGITS = 28


@dataclass(frozen=True, slots=True)
class RouteStep:
    """One making on the way. `parent` names the lot, or is None for the product of the step before.

    Masses in grams; `parent_strength` and `strength` as mass fractions; `relative_uncertainty` is the
    standard uncertainty of the strength reached so far, divided by it.
    """

    parent: str | None
    parent_strength: Decimal
    strength: Decimal
    size: Decimal
    parent_mass: Decimal
    solvent_mass: Decimal
    relative_uncertainty: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class Route:
    """The steps in the order they are made, the last one the stock itself.

    `odorant_mass` is the undiluted material drawn from the lot, `made_mass` all that is made, `left_over`
    what remains of the intermediates; `expanded_uncertainty` is relative, with coverage factor 2.
    """

    steps: tuple[RouteStep, ...]
    odorant_mass: Decimal
    made_mass: Decimal
    left_over: Decimal
    expanded_uncertainty: Decimal
    smallest_weight: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class _Task:
    strength: Decimal
    size: Decimal
    parents: tuple[ParentLot, ...]
    ladder: tuple[Decimal, ...]
    sizes: tuple[Decimal, ...]
    uncertainty: Decimal
    smallest: Decimal
    most_variance: Decimal
    most_steps: int
    heed_available: bool = True


@dataclass(frozen=True, slots=True)
class _Making:
    """A stage still to be made, and what is known of the way on from it to the stock."""

    strength: Decimal
    size: Decimal
    variance: Decimal
    made: Decimal
    onward: "_Making | None" = None


@dataclass(frozen=True, slots=True)
class _Closed:
    first: _Making
    parent: ParentLot
    place: int
    variance: Decimal

    def rank(self) -> tuple[Decimal, Decimal, Decimal, int]:
        return (self.first.size * self.first.strength, self.first.made, self.variance, self.place)


def propose_route(
    *,
    strength: Decimal,
    size: Decimal,
    parents: Sequence[ParentLot],
    traits: BalanceTraits,
    weighing_tolerance: Decimal,
    strength_tolerance: Decimal,
    solubility: Decimal | None = None,
    ladder: Sequence[Decimal] = LADDER,
    sizes: Sequence[Decimal] = ROUND_SIZES,
    most_steps: int = MOST_STEPS,
) -> Route:
    """The best route to `size` grams of `strength` from one of `parents`, on the balance of `traits`.

    `weighing_tolerance` sets the smallest net weight (arithmetic of `smallest_net_weight`);
    `strength_tolerance` bounds the relative uncertainty of the stock, expanded by 2, its parent's included.
    Raises `BeyondSolubility`, `NoStrongerParent`, `NotEnoughParent`, `NoGoodRoute` (with the smallest round
    size that works, if one does), or `BadStock` for input that cannot be.
    """
    with localcontext(Context(prec=_DIGITS, rounding=ROUND_HALF_EVEN)):
        check_parents(parents)
        _check(strength, size, strength_tolerance, ladder, sizes, most_steps, traits)
        check_solubility(strength, solubility)
        task = _Task(
            strength=strength,
            size=size,
            parents=tuple(parents),
            ladder=tuple(
                rung for rung in sorted(set(ladder), reverse=True) if solubility is None or rung <= solubility
            ),
            sizes=tuple(one for one in sorted(set(sizes)) if one <= traits.capacity),
            uncertainty=net_mass_uncertainty(traits),
            smallest=smallest_net_weight(traits, weighing_tolerance),
            most_variance=(strength_tolerance / COVERAGE) ** 2,
            most_steps=most_steps,
        )
        _check_stronger(task)
        best = _search(task)
        if best is None:
            raise _refusal(task)
        return _told(task, best)


def _search(task: _Task) -> _Closed | None:
    """Layer by layer from the stock backwards; the best closing of the first layer that a lot can close."""
    layer = [_Making(task.strength, task.size, Decimal(0), task.size)]
    for _ in range(task.most_steps):
        closed = [one for making in layer for one in _closings(task, making)]
        if closed:
            return min(closed, key=_Closed.rank)
        layer = _next_layer(task, layer)
    return None


def _closings(task: _Task, making: _Making) -> Iterator[_Closed]:
    for place, parent in enumerate(task.parents):
        taken = _taken(task, making, parent.strength)
        if taken is None or taken < parent.smallest:
            continue
        if task.heed_available and taken > parent.available:
            continue
        variance = making.variance + _step_variance(task, making.size, taken) + parent.relative_uncertainty**2
        if variance <= task.most_variance:
            yield _Closed(making, parent, place, variance)


def _next_layer(task: _Task, layer: Sequence[_Making]) -> list[_Making]:
    strongest = max(parent.strength for parent in task.parents)
    nodes: dict[tuple[Decimal, Decimal], list[_Making]] = {}
    for making in layer:
        for rung in task.ladder:
            taken = _taken(task, making, rung) if rung < strongest else None
            if taken is None:
                continue
            variance = making.variance + _step_variance(task, making.size, taken)
            if variance > task.most_variance:
                continue
            for size in task.sizes:
                if size >= taken:
                    reached = _Making(rung, size, variance, making.made + size, making)
                    _keep(nodes.setdefault((rung, size), []), reached)
    return [making for kept in nodes.values() for making in kept]


def _keep(kept: list[_Making], new: _Making) -> None:
    """Add `new` unless another is at least as certain and as little mass; drop those it outdoes."""
    if any(old.variance <= new.variance and old.made <= new.made for old in kept):
        return
    kept[:] = [old for old in kept if not (new.variance <= old.variance and new.made <= old.made)]
    kept.append(new)


def _taken(task: _Task, making: _Making, parent_strength: Decimal) -> Decimal | None:
    """Grams of the parent for this stage, or None where parent or solvent are too little to weigh well."""
    if parent_strength <= making.strength:
        return None
    taken = nearest_mass(making.size * making.strength / parent_strength)
    if taken < task.smallest or making.size - taken < task.smallest:
        return None
    return taken


def _step_variance(task: _Task, size: Decimal, taken: Decimal) -> Decimal:
    """Relative variance one step adds: f = q·a/(a+b), both weighed with u, so (u/M)²·((b/a)² + 1)."""
    solvent = size - taken
    return (task.uncertainty / size) ** 2 * ((solvent / taken) ** 2 + 1)


def _told(task: _Task, best: _Closed) -> Route:
    steps: list[RouteStep] = []
    making: _Making | None = best.first
    parent_strength, variance = best.parent.strength, best.parent.relative_uncertainty**2
    while making is not None:
        taken = nearest_mass(making.size * making.strength / parent_strength)
        variance += _step_variance(task, making.size, taken)
        steps.append(
            _step(making, best.parent.lot if not steps else None, parent_strength, taken, variance.sqrt())
        )
        parent_strength, making = making.strength, making.onward
    spare = (before.size - after.parent_mass for before, after in pairwise(steps))
    left_over = sum(spare, Decimal(0))
    expanded = COVERAGE * variance.sqrt()
    way = " → ".join(percent(each, 9) for each in (best.parent.strength, *(step.strength for step in steps)))
    return Route(
        steps=tuple(steps),
        odorant_mass=nearest_mass(steps[0].parent_mass * best.parent.strength),
        made_mass=sum((step.size for step in steps), Decimal(0)),
        left_over=left_over,
        expanded_uncertainty=expanded,
        smallest_weight=task.smallest,
        sentence=(
            f"{way}: every weighing is at least {figure(task.smallest)} g, and the strength is certain to "
            f"± {percent(expanded, 3)} of itself."
        ),
    )


def _step(
    making: _Making, lot: str | None, parent_strength: Decimal, taken: Decimal, uncertainty: Decimal
) -> RouteStep:
    source = f"lot {lot}" if lot is not None else "the step before"
    solvent = making.size - taken
    return RouteStep(
        parent=lot,
        parent_strength=parent_strength,
        strength=making.strength,
        size=making.size,
        parent_mass=taken,
        solvent_mass=solvent,
        relative_uncertainty=uncertainty,
        sentence=(
            f"{figure(taken)} g of {source} ({percent(parent_strength, 9)}) and {figure(solvent)} g of solvent "
            f"make {figure(making.size)} g of {percent(making.strength, 9)}."
        ),
    )


def _refusal(task: _Task) -> NotEnoughParent | NoGoodRoute:
    """Which bound stands in the way, found by lifting one at a time, and the size that would do."""
    plenty = _search(replace(task, heed_available=False))
    if plenty is not None:
        return _not_enough(task, plenty)
    larger = (one for one in task.sizes if one > task.size)
    works_at = next((one for one in larger if _search(replace(task, size=one)) is not None), None)
    remedy = (
        f"Making {figure(works_at)} g would work."
        if works_at is not None
        else f"No larger size up to {figure(max(task.sizes, default=task.size))} g helps; use a finer balance or a wider tolerance."
    )
    unsure = _search(replace(task, most_variance=Decimal("Infinity"), heed_available=False))
    return NoGoodRoute(
        f"{_obstacle(task, unsure)} {remedy}",
        works_at=works_at,
        smallest_weight=task.smallest,
    )


def _not_enough(task: _Task, plenty: _Closed) -> NotEnoughParent:
    needed = nearest_mass(plenty.first.size * plenty.first.strength / plenty.parent.strength)
    missing = needed - plenty.parent.available
    return NotEnoughParent(
        f"{figure(task.size)} g of {percent(task.strength, 9)} would take {figure(needed)} g of lot "
        f"{plenty.parent.lot}, which has {figure(plenty.parent.available)} g available: {figure(missing)} g are "
        f"missing. Make less, or get more of it.",
        lot=plenty.parent.lot,
        needed=needed,
        missing=missing,
    )


def _obstacle(task: _Task, unsure: _Closed | None) -> str:
    asked = f"{figure(task.size)} g of {percent(task.strength, 9)}"
    if unsure is not None:
        reached = COVERAGE * unsure.variance.sqrt()
        allowed = COVERAGE * task.most_variance.sqrt()
        return (
            f"The shortest way to {asked} that weighs well leaves the strength uncertain by ± {percent(reached, 3)}; "
            f"± {percent(allowed, 3)} is allowed, and no way of up to {task.most_steps} steps meets that."
        )
    parent = max(task.parents, key=lambda one: one.strength)
    taken = task.size * task.strength / parent.strength
    return (
        f"No way of up to {task.most_steps} steps to {asked} weighs well: straight from lot {parent.lot} it takes "
        f"{readable(taken)} g of it and {readable(task.size - taken)} g of solvent, and the least to weigh is "
        f"{figure(max(task.smallest, parent.smallest))} g."
    )


def _check_stronger(task: _Task) -> None:
    strongest = max(task.parents, key=lambda parent: parent.strength)
    if strongest.strength <= task.strength:
        raise NoStrongerParent(
            f"The strongest lot given, {strongest.lot}, has {percent(strongest.strength, 9)}; to make "
            f"{percent(task.strength, 9)} by adding solvent, a stronger one is needed.",
            strongest=strongest.strength,
        )


def _check(
    strength: Decimal,
    size: Decimal,
    strength_tolerance: Decimal,
    ladder: Sequence[Decimal],
    sizes: Sequence[Decimal],
    most_steps: int,
    traits: BalanceTraits,
) -> None:
    exact_strength(strength)
    positive_mass(size, "the size")
    for rung in ladder:
        exact_strength(rung, "a strength of the ladder")
    for one in sizes:
        positive_mass(one, "a size of an intermediate")
    if not (strength_tolerance.is_finite() and 0 < strength_tolerance < 1):
        raise BadStock(f"A tolerance lies above 0 and below 1 (0.01 means 1 %), not {strength_tolerance}.")
    if most_steps < 1:
        raise BadStock(f"A route has at least one step, not {most_steps}.")
    if size > min(traits.capacity, LARGEST_MASS):
        raise BadStock(
            f"{figure(size)} g is more than this balance carries ({figure(traits.capacity)} g); make it in "
            f"several lots or on a larger one."
        )
