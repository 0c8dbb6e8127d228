"""Judging a weigh plan that a hand has edited, by the same rules as the plan itself keeps.

Nothing is refused here: every fault is named with what follows from it, so that the person can mend it or decide
for it. The consequences (strength, solvents, deviations, cost) are those of the pours as they stand.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

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
from batches.calc.weigh_request import WeighRequest, WeighTask, prepare
from batches.calc.weigh_targets import Target
from inventory.calc.claims import is_stock
from inventory.calc.wording import figure, percent, readable
from studio.kernel.mass import MICROGRAM

NOTHING = Decimal(0)
FaultKind = Literal[
    "line",
    "lot",
    "mass",
    "unusable",
    "available",
    "crumb",
    "deviation",
    "total",
    "strength",
    "proportion",
    "bound",
    "vessel",
]


@dataclass(frozen=True, slots=True)
class HandPour:
    """One pour as edited by hand: grams of a lot for a line."""

    line: int
    lot: int
    mass: Decimal


@dataclass(frozen=True, slots=True)
class PlanFault:
    """One rule that the pours break, with the line and the lot where it is about one."""

    kind: FaultKind
    line: int | None
    lot: int | None
    sentence: str


@dataclass(frozen=True, slots=True)
class CheckedPlan:
    """Every fault of a hand-edited plan, and what its sound pours come to.

    Pours of an unknown line or lot, of another material, or without a usable mass are faults and are left out of the
    figures; `strength` is None when no pour is left.
    """

    faults: tuple[PlanFault, ...]
    total: Decimal
    strength: Decimal | None
    solvents: dict[int, Decimal]
    lines: tuple[LineOutcome, ...]
    changes: tuple[Change, ...]
    flags: tuple[Flag, ...]
    cost: Cost

    @property
    def sound(self) -> bool:
        return not self.faults


def check_plan(request: WeighRequest, pours: Sequence[HandPour]) -> CheckedPlan:
    """Judge `pours` by the rules of the request; its pins are not looked at. Raises what `prepare` refuses.

    Rounding each pour to the microgram, a microgram a pour altogether, is no fault anywhere.
    """
    task = prepare(_without_pins(request))
    faults = _misplaced(task, pours)
    sound = _added_up(task, pours)
    total = sum((target.mass for target in sound), NOTHING)
    faults += [*_lot_faults(task, sound), *_crumbs(task, sound)]
    if not sound:
        faults.append(PlanFault("total", None, None, "Nothing is poured."))
        return CheckedPlan(tuple(faults), total, None, {}, (), (), (), Cost(NOTHING, ()))
    outcomes = line_outcomes(task, sound)
    strength, solvents = reached_strength(task, sound), reached_solvents(task, sound)
    rounding = len(sound) * MICROGRAM
    faults += [
        *_deviations(task, outcomes, rounding),
        *_proportions(task, outcomes, rounding),
        *_totals(task, total, strength, rounding),
        *_bounds(task, solvents, rounding / total),
    ]
    return CheckedPlan(
        faults=tuple(faults),
        total=total,
        strength=strength,
        solvents=solvents,
        lines=outcomes,
        changes=changes(task, sound),
        flags=flags(task, sound),
        cost=cost_of(task, sound),
    )


def _without_pins(request: WeighRequest) -> WeighRequest:
    return replace(request, pins={})


def _misplaced(task: WeighTask, pours: Sequence[HandPour]) -> list[PlanFault]:
    """Pours that cannot be reckoned with at all."""
    faults = []
    lines = {want.line.key: want.line for want in task.wants}
    for pour in pours:
        line, lot = lines.get(pour.line), task.lots.get(pour.lot)
        if line is None:
            faults.append(
                PlanFault("line", pour.line, pour.lot, f"There is no line {pour.line} in the formula.")
            )
        elif lot is None:
            faults.append(
                PlanFault("lot", pour.line, pour.lot, f"The lot poured for {line.name} is not on the shelf.")
            )
        elif lot.material != line.material:
            faults.append(
                PlanFault(
                    "lot", pour.line, lot.id, f"Lot {lot.number} is of another material than {line.name}."
                )
            )
        elif not _is_pour(pour.mass):
            faults.append(
                PlanFault(
                    "mass",
                    pour.line,
                    lot.id,
                    f"The pour of lot {lot.number} must be more than 0 g on the microgram, not {pour.mass}.",
                )
            )
    return faults


def _is_pour(mass: Decimal) -> bool:
    return is_stock(mass) and mass > 0


def _added_up(task: WeighTask, pours: Sequence[HandPour]) -> list[Target]:
    """The pours that can be reckoned with, one per line and lot."""
    materials = {want.line.key: want.line.material for want in task.wants}
    grams: dict[tuple[int, int], Decimal] = {}
    for pour in pours:
        lot = task.lots.get(pour.lot)
        if lot is not None and materials.get(pour.line) == lot.material and _is_pour(pour.mass):
            key = (pour.line, pour.lot)
            grams[key] = grams.get(key, NOTHING) + pour.mass
    smallest = task.request.smallest
    return [Target(line, lot, mass, mass < smallest) for (line, lot), mass in sorted(grams.items())]


def _lot_faults(task: WeighTask, targets: Sequence[Target]) -> list[PlanFault]:
    """Lots that may not be used, and lots that do not hold what all lines together take of them."""
    faults = []
    taken: dict[int, Decimal] = {}
    for target in targets:
        taken[target.lot] = taken.get(target.lot, NOTHING) + target.mass
    for lot_id, mass in sorted(taken.items()):
        lot = task.lots[lot_id]
        reason = lot.unusable_because(task.request.on)
        if reason and lot_id not in task.request.allowed_lots:
            faults.append(
                PlanFault("unusable", None, lot_id, f"Lot {lot.number} {reason}; using it needs a reason.")
            )
        if mass > lot.available:
            faults.append(
                PlanFault(
                    "available",
                    None,
                    lot_id,
                    f"{figure(mass)} g of lot {lot.number} are poured, {figure(lot.available)} g are available: "
                    f"{figure(mass - lot.available)} g too much.",
                )
            )
    return faults


def _crumbs(task: WeighTask, targets: Sequence[Target]) -> list[PlanFault]:
    return [PlanFault("crumb", flag.line, flag.lot, flag.sentence) for flag in flags(task, targets)]


def _deviations(task: WeighTask, outcomes: Sequence[LineOutcome], rounding: Decimal) -> list[PlanFault]:
    """Odorant lines outside the tolerance by more than rounding explains; a line without a pour lacks all of it."""
    solvents = {want.line.key for want in task.solvents}
    faults = []
    for one in outcomes:
        if (
            one.line in solvents
            or abs(one.poured - one.wanted) <= task.request.tolerance * one.wanted + rounding
        ):
            continue
        side = "more" if one.deviation > 0 else "less"
        faults.append(
            PlanFault(
                "deviation",
                one.line,
                None,
                f"{one.name}: {readable(one.poured)} g of odorant instead of {readable(one.wanted)} g, "
                f"{percent(abs(one.deviation))} {side}; the tolerance is {percent(task.request.tolerance)}.",
            )
        )
    return faults


def _proportions(task: WeighTask, outcomes: Sequence[LineOutcome], rounding: Decimal) -> list[PlanFault]:
    """Free solvents out of their written proportions, where no bound is set that may shift them."""
    wants = task.solvents
    if any(want.line.material in task.request.solvent_bounds for want in wants):
        return []
    poured = {one.line: one.poured for one in outcomes}
    free = sum((poured[want.line.key] for want in wants), NOTHING)
    return [
        PlanFault(
            "proportion",
            want.line.key,
            None,
            f"{want.line.name} is {percent(poured[want.line.key] / free)} of the free solvent; "
            f"{percent(want.share)} is written.",
        )
        for want in wants
        if free > 0
        and abs(poured[want.line.key] - want.share * free) > task.request.tolerance * free + rounding
    ]


def _totals(task: WeighTask, total: Decimal, strength: Decimal, rounding: Decimal) -> list[PlanFault]:
    request = task.request
    faults = []
    if total != request.total:
        side = "more" if total > request.total else "less"
        faults.append(
            PlanFault(
                "total",
                None,
                None,
                f"The pours add up to {figure(total)} g, {figure(abs(total - request.total))} g {side} than the "
                f"{figure(request.total)} g wanted.",
            )
        )
    if request.largest_total is not None and total > request.largest_total:
        faults.append(
            PlanFault(
                "vessel",
                None,
                None,
                f"{figure(total)} g are poured; vessel and balance carry {figure(request.largest_total)} g.",
            )
        )
    if abs(strength - task.strength) > request.tolerance * task.strength + rounding / total:
        faults.append(
            PlanFault(
                "strength",
                None,
                None,
                f"The batch comes to {percent(strength)}; {percent(task.strength)} is wanted.",
            )
        )
    return faults


def _bounds(task: WeighTask, solvents: dict[int, Decimal], slack: Decimal) -> list[PlanFault]:
    """Bounded solvents outside their bounds by more than rounding the pours to the microgram explains."""
    names = {want.line.material: want.line.name for want in task.wants}
    faults = []
    for solvent, bound in sorted(task.request.solvent_bounds.items()):
        share = solvents.get(solvent, NOTHING)
        if bound.lowest - slack <= share <= bound.highest + slack:
            continue
        limit = (
            f"at most {percent(bound.highest)}"
            if share > bound.highest
            else f"at least {percent(bound.lowest)}"
        )
        name = names.get(solvent, f"solvent {solvent}")
        faults.append(
            PlanFault(
                "bound", None, None, f"{name} comes to {percent(share)} of the batch; {limit} is wanted."
            )
        )
    return faults
