"""The weigh plan: which lots to weigh and how much of each, so that a batch comes out as wanted.

`plan_weighing` is the way in. The request is made ready (`weigh_request`), the best choice of lots and strengths is
found together as a mixed-integer programme (`weigh_choice` says what best means, `weigh_programme` what is possible), put
on the microgram grid (`weigh_targets`) and explained (`weigh_explain`). Where there is no plan, the refusal says why
in numbers and what would help (`weigh_obstacles`, `weigh_remedies`). `weigh_check` judges a plan that a hand has edited.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.weigh_choice import choose
from batches.calc.weigh_explain import (
    Change,
    Cost,
    Flag,
    LineOutcome,
    changes,
    cost_of,
    flags,
    line_outcomes,
    reached_solvents,
    reached_strength,
)
from batches.calc.weigh_obstacles import NoPlan, Reason, obstacles, off_the_grid, too_much_for_vessel
from batches.calc.weigh_remedies import remedies_without_plan
from batches.calc.weigh_request import WeighRequest, prepare
from batches.calc.weigh_targets import targets_on_the_grid

__all__ = ["NoPlan", "Pour", "WeighPlan", "plan_weighing"]


@dataclass(frozen=True, slots=True)
class Pour:
    """Grams to weigh of one lot for one line."""

    line: int
    lot: int
    number: str
    material: int
    mass: Decimal


@dataclass(frozen=True, slots=True)
class WeighPlan:
    """What to weigh, and what comes of it.

    `pours` add up to the batch exactly. `moved` counts the lines of `changes`. `reached` holds the value of every aim of
    `weigh_choice`, and `proven` is False when the search stopped before the last of them was proved best.
    """

    pours: tuple[Pour, ...]
    total: Decimal
    strength: Decimal
    solvents: Mapping[int, Decimal]
    lines: tuple[LineOutcome, ...]
    changes: tuple[Change, ...]
    flags: tuple[Flag, ...]
    cost: Cost
    reached: Mapping[str, float]
    proven: bool

    @property
    def moved(self) -> int:
        return len(self.changes)


def plan_weighing(request: WeighRequest) -> WeighPlan:
    """The best weigh plan of a request.

    Raises `NoPlan` with reasons and remedies when nothing on the shelf fits, and `BadFormula`, `BadLots`, `NoOdorant`
    or `BadWeighRequest` for input that makes no sense.
    """
    task = prepare(request)
    vessel = too_much_for_vessel(task)
    if vessel is not None:
        raise _no_plan(request, (vessel,))
    chosen = choose(task)
    if chosen is None:
        raise _no_plan(request, obstacles(task))
    targets = targets_on_the_grid(task, chosen.pours)
    if targets is None:
        raise _no_plan(request, (off_the_grid(task),))
    return WeighPlan(
        pours=tuple(
            Pour(one.line, one.lot, task.lots[one.lot].number, task.lots[one.lot].material, one.mass)
            for one in targets
        ),
        total=request.total,
        strength=reached_strength(task, targets),
        solvents=reached_solvents(task, targets),
        lines=line_outcomes(task, targets),
        changes=changes(task, targets),
        flags=flags(task, targets),
        cost=cost_of(task, targets),
        reached=chosen.reached,
        proven=chosen.proven,
    )


def _no_plan(request: WeighRequest, reasons: tuple[Reason, ...]) -> NoPlan:
    return NoPlan(reasons, remedies_without_plan(request, reasons))
