"""Putting lots on hold and releasing them. A held lot can be neither claimed nor weighed."""

from collections.abc import Collection, Sequence
from datetime import datetime

from inventory.actions.ledger import lock_lots
from inventory.calc.alert_causes import HOLD, hold
from inventory.models import Lot
from inventory.models.ancestry import lots_reached
from studio.actions.alerts import close_alert, raise_alerts
from studio.actions.history import record
from studio.kernel.causes import Cause
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.work import work
from studio.models import Member

TRIES = 8


class NotOnHold(Conflict):
    """A lot that is not on hold cannot be released from it."""

    code = "not-on-hold"
    title = "Not on hold"


class ReasonMissing(Invalid):
    """What is asked for needs a reason that stands in the record."""

    code = "reason-missing"
    title = "A reason is needed"


class StillGrowing(Conflict):
    """More was made of the lot, again and again, while its descendants were put on hold. Nothing was held."""

    code = "still-growing"
    title = "More is being made of it"


class _Grown(Exception):
    """There are more descendants now than were locked."""


def hold_lots(*, by: Member, now: datetime, lot_ids: Sequence[int], why: str) -> list[Lot]:
    """Put lots on hold, those already held included, which then carry the new reason as well."""
    _refuse_without_reason(why)
    with work():
        lots = lock_lots(studio=by.studio, ids=lot_ids)
        _hold(by, now, lots.values(), why)
    return [lots[lot_id] for lot_id in lot_ids]


def hold_with_descendants(*, by: Member, now: datetime, lot_id: int, why: str) -> list[Lot]:
    """Put a lot and everything that was made of it on hold, itself first.

    What was made meanwhile is seen by reading the descendants again once they are locked: from then on nothing can be
    made of them. Where there are more, all locks are let go and taken anew, in their order. Raises `StillGrowing`.
    """
    _refuse_without_reason(why)
    with work():
        for _ in range(TRIES):
            try:
                with work():
                    lots = _locked_family(by, lot_id)
                    _hold(by, now, lots.values(), why)
            except _Grown:
                continue
            return [lots[lot_id], *(lot for lot in lots.values() if lot.id != lot_id)]
        raise StillGrowing("More is being made of this lot at this very moment; try again shortly.")


def _locked_family(by: Member, lot_id: int) -> dict[int, Lot]:
    lots = lock_lots(studio=by.studio, ids={lot_id} | _family(lot_id))
    if not _family(lot_id) <= set(lots):
        raise _Grown
    return lots


def _family(lot_id: int) -> set[int]:
    return lots_reached([lot_id], "forward")


def _refuse_without_reason(why: str) -> None:
    if not why:
        raise ReasonMissing("Say why the lot is put on hold.", errors={"why": ["Say why."]})


def _hold(by: Member, now: datetime, lots: Collection[Lot], why: str) -> None:
    for lot in lots:
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
    causes = [_cause(lot, now) for lot in lots if lot.emptied_at is None]
    raise_alerts(studio=by.studio_id, at=now, causes=causes)


def _cause(lot: Lot, now: datetime) -> Cause:
    return hold(
        lot=lot.id,
        number=lot.number,
        title=lot.title,
        since=lot.held_at or now,
        reason=lot.hold_reason,
        claimed=lot.reserved,
    )


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
        close_alert(studio=by.studio_id, at=now, kind=HOLD, key=str(lot.id))
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
