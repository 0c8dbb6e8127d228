"""What a batch asks of the weigh plan: its lines, the shelf, the balance, and what is pinned. Shared by the verb that
plans and by whatever shows what a plan would be.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from decimal import Decimal

from batches.calc.strength import FormulaLine
from batches.calc.weigh_request import Pin, SolventBound, WeighRequest
from batches.models.making import Batch, BatchKind
from batches.models.shelf_lots import shelf_lots
from batches.models.written import written_lines
from inventory.calc.claims import ShelfLot
from inventory.calc.weighing import smallest_net_weight
from inventory.models import Balance
from inventory.models.places import traits_of
from studio.kernel.mass import MICROGRAM

STOCK_LINE, SOLVENT_LINE = 1, 2
STRONGER = Decimal("1.05")
"""A stock is made from lots at least this much stronger than itself; nearer ones are the same dilution again."""
ONE = Decimal(1)


def weigh_request(
    *,
    batch: Batch,
    on: date,
    pins: Mapping[int, Sequence[Pin]] | None = None,
    allowed_lots: Collection[int] = (),
) -> WeighRequest:
    """The request of a batch as things stand; what it has claimed itself counts as available. Five statements."""
    lines = lines_of(batch)
    return WeighRequest(
        lines=tuple(lines),
        lots=tuple(_shelf(batch, lines)),
        total=batch.mass,
        strength=None if batch.kind == BatchKind.STOCK else batch.strength,
        smallest=smallest_pour(batch),
        tolerance=batch.tolerance,
        on=on,
        solvent_bounds={
            int(solvent): SolventBound(Decimal(least), Decimal(most))
            for solvent, (least, most) in batch.solvent_bounds.items()
        },
        pins={line: tuple(given) for line, given in (pins or {}).items()},
        allowed_lots=frozenset(allowed_lots),
        largest_total=batch.vessel_capacity,
    )


def lines_of(batch: Batch) -> list[FormulaLine]:
    """The lines a batch is planned from, by position: its formula's, or the two of a stock."""
    if batch.version is not None:
        return written_lines(batch.version)
    assert batch.material is not None
    assert batch.solvent is not None
    assert batch.strength is not None
    material, solvent = batch.material, batch.solvent
    return [
        FormulaLine(STOCK_LINE, material.id, material.name, batch.strength, ONE, None, is_solvent=False),
        FormulaLine(SOLVENT_LINE, solvent.id, solvent.name, ONE - batch.strength, ONE, None, is_solvent=True),
    ]


def smallest_pour(batch: Batch) -> Decimal:
    """Grams from which the batch's balance weighs within its tolerance; a microgram where no balance is known."""
    if batch.balance is None:
        return MICROGRAM
    return max(smallest_net_weight(traits_of(batch.balance), batch.tolerance), MICROGRAM)


def finest_balance(studio_id: int, mass: Decimal) -> Balance | None:
    """The balance in use that carries `mass` grams and weighs the smallest amounts well."""
    able = Balance.objects.filter(studio_id=studio_id, retired_at__isnull=True, capacity__gte=mass)
    return able.order_by("repeatability", "readability", "id").first()


def _shelf(batch: Batch, lines: Sequence[FormulaLine]) -> list[ShelfLot]:
    lots = shelf_lots(
        studio_id=batch.studio_id, materials={line.material for line in lines}, purpose=batch.number
    )
    if batch.kind != BatchKind.STOCK:
        return lots
    return [lot for lot in lots if _can_make_stock(lot, batch)]


def _can_make_stock(lot: ShelfLot, batch: Batch) -> bool:
    """The solvent itself, or a stronger lot that brings no other solvent with it."""
    if lot.material == batch.solvent_id:
        return True
    stronger = batch.strength is None or lot.strength >= batch.strength * STRONGER
    return stronger and set(lot.solvents) <= {batch.solvent_id}
