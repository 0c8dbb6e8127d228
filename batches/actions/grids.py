"""Drafting a grid: one batch whose pours go into many vials, stock by stock in the order they are taken in hand."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, Unpack

from batches.actions.planning import Circumstances, start_draft
from batches.calc.grid import GridPlan, Ratio, Vial
from batches.models import Batch, BatchKind, BatchLine, GridCell
from batches.models.grid_layouts import grid_layout
from batches.models.weigh_requests import finest_balance
from inventory.calc.wording import figure
from inventory.models import Lot, MaterialKind
from studio.kernel.errors import Invalid
from studio.kernel.mass import ZERO_MASS
from studio.kernel.work import work
from studio.models import Member

COST_SHOWN = Decimal("0.0001")
PART_STEP = Decimal("1e-6")


class NotPlainSolvent(Invalid):
    """Controls are let down with a lot of a solvent, which holds no odorant."""

    code = "not-plain-solvent"
    title = "Not a lot of a solvent"


def draft_grid(
    *,
    by: Member,
    now: datetime,
    side_a: Sequence[Lot],
    side_b: Sequence[Lot],
    ratios: Sequence[Ratio],
    vial_mass: Decimal,
    solvent: Lot | None = None,
    **circumstances: Unpack[Circumstances],
) -> Batch:
    """Draft a grid that crosses the lots of side A with those of side B at each ratio, in vials of `vial_mass` grams.

    With a lot of `solvent`, controls are added: each lot alone at each strength it has in the grid. A grid that is
    short or too small to weigh well is drafted all the same; its plan says so. Raises `BadGrid`, `GridTooLarge`,
    `NotPlainSolvent`.
    """
    refuse_other_than_solvent(solvent)
    with work():
        balance = circumstances.get("balance") or finest_balance(by.studio_id, vial_mass)
        circumstances["balance"] = balance
        plan = grid_layout(
            studio=by.studio,
            side_a=side_a,
            side_b=side_b,
            ratios=ratios,
            vial_mass=vial_mass,
            solvent=solvent,
            balance=balance,
            tolerance=circumstances.get("tolerance"),
        )
        lots = {lot.number: lot for lot in [*side_a, *side_b, *([solvent] if solvent else [])]}
        total = sum((one.needed for one in plan.totals), ZERO_MASS)
        batch = start_draft(
            Batch(
                kind=BatchKind.GRID,
                mass=total,
                planned_cost=_cost(plan, lots),
                explanation=_explanation(plan, lots),
            ),
            by,
            now,
            circumstances,
            title=f"Grid of {len(side_a)} × {len(side_b)}",
        )
        _write(batch, plan, lots, vial_mass)
    return batch


def refuse_other_than_solvent(lot: Lot | None) -> None:
    """Raise `NotPlainSolvent` for a lot that is of anything but a solvent."""
    if lot is None or (lot.material is not None and lot.material.kind == MaterialKind.SOLVENT):
        return
    sentence = f"Lot {lot.number} ({lot.title}) is not a solvent; controls are let down with one."
    raise NotPlainSolvent(sentence, errors={"solvent": [sentence]})


def _write(batch: Batch, plan: GridPlan, lots: Mapping[str, Lot], vial_mass: Decimal) -> None:
    """Cells as they are numbered, lines as they are poured."""
    cells = GridCell.objects.bulk_create(_cell(batch, vial, lots, vial_mass) for vial in plan.vials)
    by_number = {cell.number: cell for cell in cells}
    pours = [(by_number[vial], lots[pour.lot], mass) for pour in plan.pours for vial, mass in pour.into]
    BatchLine.objects.bulk_create(
        BatchLine(
            studio_id=batch.studio_id,
            batch=batch,
            position=position,
            cell=cell,
            material_id=lot.material_id,
            lot=lot,
            planned=mass,
            target=mass,
        )
        for position, (cell, lot, mass) in enumerate(pours, start=1)
    )


def _cell(batch: Batch, vial: Vial, lots: Mapping[str, Lot], vial_mass: Decimal) -> GridCell:
    of_side = {portion.side: lots[portion.lot] for portion in vial.portions}
    return GridCell(
        studio_id=batch.studio_id,
        batch=batch,
        number=vial.number,
        lot_a=of_side.get("A"),
        lot_b=of_side.get("B"),
        part_a=vial.ratio.a.quantize(PART_STEP) if vial.ratio else None,
        part_b=vial.ratio.b.quantize(PART_STEP) if vial.ratio else None,
        mass=vial_mass,
    )


def _cost(plan: GridPlan, lots: Mapping[str, Lot]) -> Decimal | None:
    """What the grid takes at what its lots cost now; unknown when one's cost is."""
    costs = [(one.needed, lots[one.lot].cost_per_gram) for one in plan.totals]
    if any(cost is None for _, cost in costs):
        return None
    total = sum((needed * cost for needed, cost in costs if cost is not None), Decimal(0))
    return total.quantize(COST_SHOWN, rounding=ROUND_HALF_EVEN)


def _explanation(plan: GridPlan, lots: Mapping[str, Lot]) -> dict[str, Any]:
    """The plan in the form that every batch keeps it; what is too small is flagged by the vial it goes into."""
    return {
        "possible": True,
        "by_hand": False,
        "proven": True,
        "strength": None,
        "moved": 0,
        "lines": [],
        "changes": [],
        "flags": [
            {
                "line": one.vial,
                "name": lots[one.lot].title,
                "lot": one.lot,
                "mass": str(one.mass),
                "smallest": str(plan.smallest),
                "sentence": f"Vial {one.vial} takes {figure(one.mass)} g of {lots[one.lot].title}; the balance weighs "
                f"well from {figure(plan.smallest)} g.",
            }
            for one in plan.too_small
        ],
        "solvents": [],
        "lots_without_cost": [one.lot for one in plan.totals if lots[one.lot].cost_per_gram is None],
        "faults": [],
        "reasons": [],
        "remedies": [],
    }
