"""Putting lots on hold and releasing them. A held lot can be neither claimed nor weighed."""

from collections.abc import Sequence
from datetime import datetime

from inventory.actions.ledger import lock_lots
from inventory.models import Lot
from studio.actions.history import record
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.work import work
from studio.models import Member


class NotOnHold(Conflict):
    """A lot that is not on hold cannot be released from it."""

    code = "not-on-hold"
    title = "Not on hold"


class ReasonMissing(Invalid):
    """What is asked for needs a reason that stands in the record."""

    code = "reason-missing"
    title = "A reason is needed"


def hold_lots(*, by: Member, now: datetime, lot_ids: Sequence[int], why: str) -> list[Lot]:
    """Put lots on hold, those already held included, which then carry the new reason as well."""
    if not why:
        raise ReasonMissing("Say why the lot is put on hold.", errors={"why": ["Say why."]})
    with work():
        lots = lock_lots(studio=by.studio, ids=lot_ids)
        for lot in lots.values():
            before = lot.hold_reason
            lot.held_at = lot.held_at or now
            lot.hold_reason = _joined(before, why)
            _save_hold(lot)
            record(
                by=by,
                at=now,
                subject="lot",
                name=lot.number,
                verb="put on hold",
                changes={"hold_reason": [before, lot.hold_reason]},
                why=why,
            )
    return [lots[lot_id] for lot_id in lot_ids]


def _joined(before: str, why: str) -> str:
    """Every reason once, in the order they were given."""
    reasons = dict.fromkeys([*filter(None, before.split("; ")), why])
    return "; ".join(reasons)


def release_lot(*, by: Member, now: datetime, lot_id: int, why: str) -> Lot:
    """Take a lot off hold; raises `NotOnHold`."""
    if not why:
        raise ReasonMissing("Say why the hold ends.", errors={"why": ["Say why."]})
    with work():
        lot = lock_lots(studio=by.studio, ids=[lot_id])[lot_id]
        if lot.held_at is None:
            raise NotOnHold(f"Lot {lot.number} is not on hold.")
        before = lot.hold_reason
        lot.held_at = None
        lot.hold_reason = ""
        _save_hold(lot)
        record(
            by=by,
            at=now,
            subject="lot",
            name=lot.number,
            verb="released",
            changes={"hold_reason": [before, ""]},
            why=why,
        )
    return lot


def _save_hold(lot: Lot) -> None:
    lot.edition += 1
    lot.save(update_fields=["held_at", "hold_reason", "edition"])
