"""The vials of a grid on its ticket: before weighing what each is to hold, after closing what each became."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from batches.models import Batch, BatchKind, GridCell
from inventory.models import Lot


@dataclass(frozen=True, slots=True)
class TicketVial:
    """One attempt at a vial. `lot` and what follows are of what it became; empty before, or where it was left out."""

    vial: int
    attempt: int
    side_a: str
    side_b: str
    ratio: str
    mass: Decimal
    left_out_because: str
    lot: str
    made_mass: Decimal | None
    strength: Decimal | None
    strength_uncertainty: Decimal | None


def ticket_vials(batch: Batch, sealed: Mapping[str, Any]) -> tuple[TicketVial, ...]:
    """Every attempt at every vial of a grid, as it stands or as it was sealed; one statement for a grid, none else."""
    if batch.kind != BatchKind.GRID:
        return ()
    cells = GridCell.objects.filter(batch=batch).select_related("lot_a", "lot_b")
    told = {(one["vial"], one["attempt"]): one["made"] for one in sealed.get("vials", ())}
    return tuple(
        _vial(cell, told.get((cell.number, cell.attempt)))
        for cell in cells.order_by("number", "attempt", "id")
    )


def _vial(cell: GridCell, made: Mapping[str, Any] | None) -> TicketVial:
    told = made or {}
    return TicketVial(
        vial=cell.number,
        attempt=cell.attempt,
        side_a=_title(cell.lot_a),
        side_b=_title(cell.lot_b),
        ratio=cell.ratio,
        mass=cell.mass,
        left_out_because=cell.left_out_why,
        lot=told.get("lot", ""),
        made_mass=_decimal(told.get("mass")),
        strength=_decimal(told.get("actual_strength")),
        strength_uncertainty=_decimal(told.get("strength_standard_uncertainty")),
    )


def _title(lot: Lot | None) -> str:
    return lot.title if lot else ""


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
