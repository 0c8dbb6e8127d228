"""Closing a batch: weighings become movements and one made lot, or the vials of a grid, in one transaction, once.

What each made lot is follows from its weighings (`batches.actions.made_lots`). The record of it is sealed in the same
transaction. Closing a closed batch again changes nothing and returns it as it is.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from batches.actions.batch_lock import lock_batch, save_batch
from batches.actions.batch_records import batch_record
from batches.actions.made_lots import Filled, Made, Vessel, cost_as_weighed, make_lots, reckoned
from batches.models import Batch, BatchKind, BatchState, GridCell, Weighing
from batches.models.written import declared_strength
from inventory.actions.ledger import claimed_lot_ids, end_claims, lock_lots
from inventory.calc.wording import figure, percent
from inventory.models import Lot
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.actions.records import seal_record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member

__all__ = ["Filled", "LinesNotWeighed", "NothingWeighed", "StrengthDiffers", "close_batch"]


class NothingWeighed(Conflict):
    """There is nothing to close: no weighing stands."""

    code = "nothing-weighed"
    title = "Nothing was weighed"


class LinesNotWeighed(Conflict):
    """Lines without a weighing are left out only with a reason."""

    code = "lines-not-weighed"
    title = "Lines not weighed yet"


class StrengthDiffers(Conflict):
    """Actual and declared strength differ beyond the studio's tolerance; somebody has to decide."""

    code = "strength-differs"
    title = "The strength asks for a decision"


def close_batch(
    *,
    by: Member,
    now: datetime,
    number: str,
    filled: Filled | None = None,
    expected: int | None = None,
) -> Batch:
    """Turn a batch's standing weighings into one made lot and end it; its record is sealed.

    Raises `NothingWeighed`, `LinesNotWeighed`, `StrengthDiffers`, `WrongState`, `StaleEdition`.
    """
    into = filled or Filled()
    with work():
        batch = lock_batch(
            by=by,
            number=number,
            states=[BatchState.RESERVED, BatchState.WEIGHING, BatchState.CLOSED],
            doing="closed",
            expected=None,
        )
        if batch.state == BatchState.CLOSED:
            return batch
        refuse_stale(batch, expected, f"Batch {number}")
        weighings = list(
            batch.weighings.all().standing().select_related("line", "balance", "by__person").order_by("id")
        )
        _refuse_unweighed(batch, weighings, into)
        lots = lock_lots(
            studio=by.studio,
            ids={weighing.lot_id for weighing in weighings}
            | set(claimed_lot_ids(studio=by.studio, purpose=number)),
        )
        declared = declared_strength(batch)
        filled_vessels, left_out = _vessels(batch, weighings)
        made = reckoned(batch, filled_vessels, lots)
        _refuse_undecided(batch, declared, made, into)
        if into.strength_decision == "declare actual" and batch.kind != BatchKind.GRID:
            declared = made[0].strength
        end_claims(now=now, purpose=number, why="batch closed", lots=lots)
        _leave_out_empty(by, now, batch, filled_vessels, into)
        new = make_lots(
            by=by,
            now=now,
            batch=batch,
            made=made,
            discarded=left_out,
            lots=lots,
            declared=declared,
            into=into,
        )
        batch.actual_cost = cost_as_weighed(weighings, lots).total
        _end(now, batch, made, new)
        seal_record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            record=batch_record(batch=batch, made=list(zip(made, new, strict=True)), filled=into),
        )
        record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            verb="closed",
            changes={"made": [None, _named(new)]},
            why=into.left_out_reason or into.strength_reason,
        )
    return batch


def _refuse_unweighed(batch: Batch, weighings: Sequence[Weighing], into: Filled) -> None:
    if all(weighing.line.left_out for weighing in weighings):
        raise NothingWeighed(f"Batch {batch.number} has no weighings, so there is nothing to close; void it.")
    weighed = {weighing.line_id for weighing in weighings}
    missing = [
        line
        for line in batch.lines.select_related("lot", "cell").order_by("position", "id")
        if line.id not in weighed and not line.left_out
    ]
    if missing and not into.left_out_reason:
        named = "; ".join(
            f"{line.position} ({line.lot.title}, {figure(line.target)} g{f', vial {line.cell.number}' if line.cell else ''})"
            for line in missing
        )
        raise LinesNotWeighed(
            f"Not weighed yet: line {named}. Weigh them, or say why they are left out.",
            lines=[line.position for line in missing],
        )


def _vessels(batch: Batch, weighings: Sequence[Weighing]) -> tuple[list[Vessel], list[Vessel]]:
    """What was filled and is to be kept, and what was left out after something had been poured into it."""
    if batch.kind != BatchKind.GRID:
        return [Vessel(None, weighings)], []
    into: dict[int | None, list[Weighing]] = {}
    for weighing in weighings:
        into.setdefault(weighing.line.cell_id, []).append(weighing)
    cells = batch.cells.select_related("lot_a", "lot_b").order_by("number", "attempt", "id")
    vessels = [Vessel(cell, into[cell.id]) for cell in cells if cell.id in into]
    kept = [vessel for vessel in vessels if vessel.cell and vessel.cell.left_out_at is None]
    return kept, [vessel for vessel in vessels if vessel.cell and vessel.cell.left_out_at is not None]


def _leave_out_empty(by: Member, now: datetime, batch: Batch, filled: Sequence[Vessel], into: Filled) -> None:
    """Vials that nothing went into are left out, with the reason that was given for their lines."""
    if batch.kind != BatchKind.GRID:
        return
    empty = batch.cells.all().standing().exclude(id__in=[vessel.cell.id for vessel in filled if vessel.cell])
    batch.lines.filter(cell__in=list(empty)).update(left_out=True)
    empty.update(left_out_at=now, left_out_by=by, left_out_why=into.left_out_reason)


def _refuse_undecided(batch: Batch, declared: Decimal | None, made: Sequence[Made], into: Filled) -> None:
    if not declared or into.strength_decision is not None:
        return
    [only] = made
    off = abs(only.strength - declared) / declared
    tolerance = batch.studio.strength_tolerance
    if off > tolerance:
        raise StrengthDiffers(
            f"By its weighings this is at {percent(only.strength)}, declared {percent(declared)}: off by "
            f"{percent(off)}, and the studio allows {percent(tolerance)}. Decide: keep declared, or declare actual.",
            declared=declared,
            actual=only.strength,
            tolerance=tolerance,
        )


def _named(new: Sequence[Lot]) -> str:
    if len(new) == 1:
        return new[0].number
    return f"{len(new)} vials, {new[0].number} to {new[-1].number}"


def _end(now: datetime, batch: Batch, made: Sequence[Made], new: Sequence[Lot]) -> None:
    cells = []
    for one, lot in zip(made, new, strict=True):
        if one.vessel.cell is None:
            batch.made = lot
        else:
            one.vessel.cell.made = lot
            cells.append(one.vessel.cell)
    GridCell.objects.bulk_update(cells, ["made"])
    batch.state = BatchState.CLOSED
    batch.ended_at = now
    save_batch(batch, "state", "made", "ended_at", "actual_cost")
