"""Vials of a grid that went wrong, or are not wanted: left out with a reason, or made anew at the same place.

What was poured into such a vial was poured: it stays claimed until the batch is closed and is then discarded by movements.
"""

from collections.abc import Sequence
from datetime import datetime

from batches.actions.batch_lock import lock_batch, save_batch
from batches.models import CLAIMING, Batch, BatchKind, BatchLine, GridCell
from batches.models.pouring import poured_per_line_and_lot, wanted_per_lot
from inventory.actions.ledger import change_claims, claimed_lot_ids, lock_lots
from studio.actions.history import record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member
from studio.models.scoped import NoSuchThing


class NotAGrid(Conflict):
    """The batch makes one lot; it has no vials."""

    code = "not-a-grid"
    title = "Not a grid"


class LastVial(Conflict):
    """A grid keeps at least one vial; a grid that is not wanted at all is given up."""

    code = "last-vial"
    title = "The last vial of the grid"


def leave_out_vial(
    *, by: Member, now: datetime, number: str, vial: int, why: str, expected: int | None = None
) -> Batch:
    """Leave a vial of a reserved grid out; what it has not been poured yet is claimed no longer.

    Raises `LastVial`, `NotAGrid`, `WrongState`, `NoSuchThing`.
    """
    with work():
        batch = _lock_grid(by, number, expected, "changed")
        cell = _leave_out(by, now, batch, vial, why)
        if not batch.cells.all().standing().exists():
            raise LastVial(
                f"{cell} is the only vial left of {number}; close what is poured, or give the grid up."
            )
        _claim_anew(by, now, batch)
        save_batch(batch)
        record(by=by, at=now, subject="batch", name=number, verb=f"vial {vial} left out", why=why)
    return batch


def make_vial_anew(
    *, by: Member, now: datetime, number: str, vial: int, why: str, expected: int | None = None
) -> Batch:
    """Leave a vial as it is and plan it once more, at the end of the pouring order; all of it is claimed, or nothing.

    Raises `Shortage`, `LotOnHold`, `KeeperNotAsked`, `NotAGrid`, `WrongState`, `NoSuchThing`.
    """
    with work():
        batch = _lock_grid(by, number, expected, "changed")
        spoilt = _leave_out(by, now, batch, vial, why)
        _plan_again(batch, spoilt)
        _claim_anew(by, now, batch)
        save_batch(batch)
        record(by=by, at=now, subject="batch", name=number, verb=f"vial {vial} made anew", why=why)
    return batch


def _lock_grid(by: Member, number: str, expected: int | None, doing: str) -> Batch:
    batch = lock_batch(by=by, number=number, states=CLAIMING, doing=doing, expected=expected)
    if batch.kind != BatchKind.GRID:
        raise NotAGrid(f"Batch {number} makes one lot and has no vials.")
    return batch


def _leave_out(by: Member, now: datetime, batch: Batch, vial: int, why: str) -> GridCell:
    cell = batch.cells.all().standing().filter(number=vial).first()
    if cell is None:
        raise NoSuchThing(f"Grid {batch.number} has no vial {vial}, or it was left out.")
    cell.left_out_at, cell.left_out_by, cell.left_out_why = now, by, why
    cell.save(update_fields=["left_out_at", "left_out_by", "left_out_why"])
    batch.lines.filter(cell=cell).update(left_out=True)
    return cell


def _plan_again(batch: Batch, spoilt: GridCell) -> None:
    cell = GridCell.objects.create(
        studio_id=batch.studio_id,
        batch=batch,
        number=spoilt.number,
        attempt=spoilt.attempt + 1,
        lot_a_id=spoilt.lot_a_id,
        lot_b_id=spoilt.lot_b_id,
        part_a=spoilt.part_a,
        part_b=spoilt.part_b,
        mass=spoilt.mass,
    )
    lines = list(batch.lines.order_by("position", "id"))
    BatchLine.objects.bulk_create(
        BatchLine(
            studio_id=batch.studio_id,
            batch=batch,
            position=position,
            cell=cell,
            material_id=line.material_id,
            lot_id=line.lot_id,
            planned=line.planned,
            target=line.planned,
            expired_reason=line.expired_reason,
        )
        for position, line in enumerate(_of(spoilt, lines), start=lines[-1].position + 1)
    )


def _of(cell: GridCell, lines: Sequence[BatchLine]) -> list[BatchLine]:
    return [line for line in lines if line.cell_id == cell.pk]


def _claim_anew(by: Member, now: datetime, batch: Batch) -> None:
    lines = list(batch.lines.order_by("position", "id"))
    held = claimed_lot_ids(studio=by.studio, purpose=batch.number)
    lots = lock_lots(studio=by.studio, ids={*held, *(line.lot_id for line in lines)})
    wants = wanted_per_lot(lines, poured_per_line_and_lot(batch))
    change_claims(by=by, now=now, purpose=batch.number, wants=wants, lots=lots)
