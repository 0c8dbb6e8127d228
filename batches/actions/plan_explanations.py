"""Why a weigh plan is as it is, as plain values kept with the batch: what was moved and why, what is too small, what
is in the way and what would help. Numbers are strings with all their places; lines go by position, lots by number.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from batches.calc.dilution import ParentLot
from batches.calc.dilution_routes import propose_route
from batches.calc.weigh_check import CheckedPlan
from batches.calc.weigh_explain import Change, Cost, Flag, LineOutcome
from batches.calc.weigh_obstacles import NoPlan
from batches.calc.weigh_plan import WeighPlan
from batches.calc.weigh_remedies import NewStock, OtherMass, Remedy, remedies_for_flags
from batches.calc.weigh_request import WeighRequest
from batches.models import Batch
from inventory.models import Material
from inventory.models.places import traits_of
from studio.kernel.errors import Refusal
from studio.kernel.mass import nearest_fraction, nearest_mass


def explained(*, batch: Batch, request: WeighRequest, plan: WeighPlan) -> dict[str, Any]:
    """The explanation of a plan that was found, with remedies for pours that are too small."""
    remedies = remedies_for_flags(request, plan.flags)
    return {
        "possible": True,
        "by_hand": False,
        "proven": plan.proven,
        **_outcome(request, plan.lines, plan.changes, plan.flags, plan.solvents, plan.cost),
        "strength": str(plan.strength),
        "faults": [],
        "reasons": [],
        "remedies": _remedies(batch, request, remedies),
    }


def explained_by_hand(*, request: WeighRequest, checked: CheckedPlan) -> dict[str, Any]:
    """The explanation of pours edited by hand, with the rules they break."""
    return {
        "possible": True,
        "by_hand": True,
        "proven": False,
        **_outcome(request, checked.lines, checked.changes, checked.flags, checked.solvents, checked.cost),
        "strength": None if checked.strength is None else str(checked.strength),
        "faults": [
            {"kind": fault.kind, "line": fault.line, "sentence": fault.sentence} for fault in checked.faults
        ],
        "reasons": [],
        "remedies": [],
    }


def unexplained(*, batch: Batch, request: WeighRequest, refusal: NoPlan) -> dict[str, Any]:
    """Why there is no plan, in numbers, and what would help, the smallest first."""
    return {
        "possible": False,
        "by_hand": False,
        "proven": True,
        **_outcome(request, (), (), (), {}, None),
        "strength": None,
        "faults": [],
        "reasons": [
            {
                "kind": reason.kind,
                "wanted": str(nearest_fraction(reason.wanted)),
                "reached": str(nearest_fraction(reason.reached)),
                "lines": list(reason.lines),
                "sentence": reason.sentence,
            }
            for reason in refusal.reasons
        ],
        "remedies": _remedies(batch, request, refusal.remedies),
    }


def _outcome(
    request: WeighRequest,
    lines: Sequence[LineOutcome],
    changes: Sequence[Change],
    flags: Sequence[Flag],
    solvents: Mapping[int, Any],
    cost: Cost | None,
) -> dict[str, Any]:
    numbers = {lot.id: lot.number for lot in request.lots}
    names = dict(Material.objects.filter(id__in=solvents).values_list("id", "name"))
    return {
        "moved": len(changes),
        "lines": [
            {
                "line": line.line,
                "name": line.name,
                "wanted": str(nearest_fraction(line.wanted)),
                "poured": str(nearest_fraction(line.poured)),
                "deviation": str(nearest_fraction(line.deviation)),
                "sentence": line.sentence,
            }
            for line in lines
        ],
        "changes": [
            {
                "line": change.line,
                "name": change.name,
                "written": str(change.written),
                "used": [str(strength) for strength in change.used],
                "freed": str(nearest_mass(change.freed)),
                "sentence": change.sentence,
            }
            for change in changes
        ],
        "flags": [
            {
                "line": flag.line,
                "name": flag.name,
                "lot": numbers[flag.lot],
                "mass": str(flag.mass),
                "smallest": str(flag.smallest),
                "sentence": flag.sentence,
            }
            for flag in flags
        ],
        "solvents": [
            {"material": str(solvent), "name": names[solvent], "fraction": str(fraction)}
            for solvent, fraction in sorted(solvents.items())
        ],
        "lots_without_cost": [numbers[lot] for lot in cost.unknown_lots] if cost else [],
    }


def _remedies(batch: Batch, request: WeighRequest, remedies: Sequence[Remedy]) -> list[dict[str, Any]]:
    return [_remedy(batch, request, remedy) for remedy in remedies]


def _remedy(batch: Batch, request: WeighRequest, remedy: Remedy) -> dict[str, Any]:
    told: dict[str, Any] = {"kind": remedy.kind, "sentence": remedy.sentence}
    if isinstance(remedy, NewStock):
        numbers = {lot.id: lot.number for lot in request.lots}
        return told | {
            "material": str(remedy.material),
            "solvent": str(remedy.solvent) if remedy.solvent else None,
            "strength": str(remedy.strength),
            "mass": str(remedy.grams),
            "parent": numbers.get(remedy.parent or 0),
            "route": _route(batch, request, remedy),
        }
    if isinstance(remedy, OtherMass):
        return told | {"mass": str(remedy.total)}
    return told | {"strength": str(remedy.strength)}


def _route(batch: Batch, request: WeighRequest, stock: NewStock) -> list[str]:
    """How to make the stock on the batch's balance, step by step; nothing where no balance or no route is known."""
    parent = next((lot for lot in request.lots if lot.id == stock.parent), None)
    if parent is None or batch.balance is None:
        return []
    try:
        route = propose_route(
            strength=stock.strength,
            size=stock.grams,
            parents=[ParentLot(lot=parent.number, strength=parent.strength, available=parent.available)],
            traits=traits_of(batch.balance),
            weighing_tolerance=batch.tolerance,
            strength_tolerance=batch.studio.strength_tolerance,
        )
    except Refusal:
        return []
    return [step.sentence for step in route.steps]
