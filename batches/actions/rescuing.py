"""After an overpour: choosing a way on, which rewrites the open targets and the claims together."""

from datetime import datetime
from decimal import Decimal

from batches.actions.batch_lock import lock_batch, save_batch
from batches.calc.overpour import OverpourOption, Way, overpour_options
from batches.models import Batch, BatchLine, BatchState
from batches.models.pouring import lines_at_stake, overpour_lines, poured_per_line_and_lot, wanted_per_lot
from inventory.actions.ledger import change_claims, claimed_lot_ids, lock_lots
from studio.actions.history import record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member


class WayNotOpen(Conflict):
    """Shelf or vessel stand against this way on; the sentence says how."""

    code = "way-not-open"
    title = "This way is not open"


def choose_way_on(
    *, by: Member, now: datetime, number: str, way: Way, expected: int | None = None
) -> tuple[Batch, OverpourOption]:
    """Set the targets of a batch as one of the four ways on says, and claim what that needs, all or nothing.

    Of a grid only the vial at stake changes (`lines_at_stake`).

    Raises `WayNotOpen`, `Shortage`, `WrongState`.
    """
    with work():
        batch = lock_batch(
            by=by, number=number, states=[BatchState.WEIGHING], doing="rescued", expected=expected
        )
        lines = list(batch.lines.select_related("material").order_by("position", "id"))
        held = claimed_lot_ids(studio=by.studio, purpose=number)
        lots = lock_lots(studio=by.studio, ids={*held, *(line.lot_id for line in lines)})
        for line in lines:
            line.lot = lots[line.lot_id]
        at_stake = lines_at_stake(batch, lines)
        options = overpour_options(
            lines=overpour_lines(batch, lines, at_stake),
            tolerance=batch.tolerance,
            vessel=batch.vessel_capacity,
        )
        chosen = next(option for option in options if option.way == way)
        if not chosen.allowed:
            raise WayNotOpen(chosen.why, way=way)
        changed = _retarget(at_stake, chosen)
        change_claims(by=by, now=now, purpose=number, wants=_wants(batch, lines, chosen), lots=lots)
        save_batch(batch)
        record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            verb="way on chosen",
            changes=changed,
            why=f"{way}: {chosen.why}",
        )
    return batch, chosen


def _retarget(lines: list[BatchLine], chosen: OverpourOption) -> dict[str, list[str]]:
    """Write the new targets; returns what changed, by line position, for the history."""
    targets = {outcome.key: outcome.target for outcome in chosen.lines}
    changed = {}
    for line in lines:
        target = targets[str(line.position)]
        if target > 0 and target != line.target:
            changed[str(line.position)] = [str(line.target), str(target)]
            line.target = target
    BatchLine.objects.bulk_update(lines, ["target"])
    return changed


def _wants(batch: Batch, lines: list[BatchLine], chosen: OverpourOption) -> dict[int, Decimal]:
    finals = {outcome.key: outcome.final for outcome in chosen.lines}
    totals = {line.id: finals[str(line.position)] for line in lines if str(line.position) in finals}
    return wanted_per_lot(lines, poured_per_line_and_lot(batch), totals)
