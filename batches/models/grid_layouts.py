"""A grid laid out from lots as they stand on the shelf: read by the verb that drafts it and by what shows it before."""

from collections.abc import Sequence
from decimal import Decimal

from batches.calc.grid import GridLot, GridPlan, Ratio, lay_out_grid
from batches.models.weigh_requests import finest_balance
from inventory.calc.weighing import smallest_net_weight
from inventory.models import Balance, Lot
from inventory.models.places import traits_of
from studio.kernel.mass import ZERO_MASS
from studio.models import Studio


def grid_layout(
    *,
    studio: Studio,
    side_a: Sequence[Lot],
    side_b: Sequence[Lot],
    ratios: Sequence[Ratio],
    vial_mass: Decimal,
    solvent: Lot | None = None,
    balance: Balance | None = None,
    tolerance: Decimal | None = None,
) -> GridPlan:
    """Lay out a grid of two sides of lots: portions, strengths, totals against the shelf, pour order.

    Without a balance the finest that carries a vial is taken, without a tolerance the studio's. One statement at
    most. Raises `BadGrid` or `GridTooLarge`.
    """
    on = balance or finest_balance(studio.pk, vial_mass)
    within = tolerance or studio.weighing_tolerance
    return lay_out_grid(
        side_a=[_grid_lot(lot) for lot in side_a],
        side_b=[_grid_lot(lot) for lot in side_b],
        ratios=ratios,
        vial_mass=vial_mass,
        smallest=smallest_net_weight(traits_of(on), within) if on else ZERO_MASS,
        solvent=_grid_lot(solvent) if solvent else None,
    )


def _grid_lot(lot: Lot) -> GridLot:
    strength = lot.actual_strength if lot.actual_strength is not None else Decimal(1)
    return GridLot(lot=lot.number, strength=strength, available=lot.available)
