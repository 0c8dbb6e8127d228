"""Reserving a planned batch, giving it up, and letting stale claims go.

Reserving takes every claim or none. Giving up discards by movements what was already weighed: it was poured, so it is
out of its lot.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from batches.actions.batch_lock import lock_batch, save_batch
from batches.calc.stale_claims import STALE_CLAIM
from batches.models import Batch, BatchLine, BatchState, Weighing
from batches.models.pouring import wanted_per_lot
from batches.models.unweighed import unweighed_since
from inventory.actions.ledger import Posting, claim, claimed_lot_ids, end_claims, lock_lots, post
from inventory.actions.lots import refuse_expired
from inventory.models import Lot, Reason
from studio.actions.alerts import close_alert
from studio.actions.history import record
from studio.actions.telling import tell_member
from studio.kernel.errors import Conflict
from studio.kernel.mass import ZERO_MASS
from studio.kernel.work import work
from studio.models import Member, ScopedQuerySet, Studio


class NothingPlanned(Conflict):
    """The batch has no weigh plan yet, so there is nothing to reserve."""

    code = "nothing-planned"
    title = "No weigh plan"


def reserve_batch(
    *,
    by: Member,
    now: datetime,
    number: str,
    expired_reasons: Mapping[str, str] | None = None,
    expected: int | None = None,
) -> Batch:
    """Claim everything the weigh plan takes. Expired lots need a reason each, by lot number.

    Raises `Shortage` naming every lot that falls short, `LotOnHold`, `LotExpired`, `NothingPlanned`, `WrongState`.
    """
    reasons = dict(expired_reasons or {})
    with work():
        batch = lock_batch(
            by=by, number=number, states=[BatchState.DRAFT], doing="reserved", expected=expected
        )
        lines = list(batch.lines.order_by("position", "id"))
        wants = wanted_per_lot(lines, {})
        if not wants:
            raise _nothing_planned(batch)
        lots = lock_lots(studio=by.studio, ids=wants)
        _give_reasons(lines, lots, reasons)
        for lot in lots.values():
            refuse_expired(lots=[lot], on=now.date(), reason=reasons.get(lot.number, ""))
        claim(by=by, now=now, purpose=number, wants=wants, lots=lots)
        batch.state = BatchState.RESERVED
        batch.reserved_at = now
        save_batch(batch, "state", "reserved_at")
        record(by=by, at=now, subject="batch", name=number, verb="reserved")
    return batch


def _nothing_planned(batch: Batch) -> NothingPlanned:
    reasons = batch.explanation.get("reasons", [])
    remedies = batch.explanation.get("remedies", [])
    told = " ".join(one["sentence"] for one in [*reasons, *remedies[:1]])
    return NothingPlanned(
        f"Batch {batch.number} has no weigh plan that fits the shelf. {told}".strip(),
        reasons=reasons,
        remedies=remedies,
    )


def _give_reasons(lines: list[BatchLine], lots: Mapping[int, Lot], reasons: Mapping[str, str]) -> None:
    given = []
    for line in lines:
        reason = reasons.get(lots[line.lot_id].number, "")
        if reason:
            line.expired_reason = reason
            given.append(line)
    BatchLine.objects.bulk_update(given, ["expired_reason"])


def void_batch(*, by: Member, now: datetime, number: str, why: str, expected: int | None = None) -> Batch:
    """Give a batch up before it is closed: claims released, what was weighed discarded by movements."""
    with work():
        batch = lock_batch(
            by=by,
            number=number,
            states=[BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING],
            doing="voided",
            expected=expected,
        )
        weighings = list(batch.weighings.all().standing().order_by("id"))
        touched = {weighing.lot_id for weighing in weighings}
        lots = lock_lots(
            studio=by.studio, ids=touched | set(claimed_lot_ids(studio=by.studio, purpose=number))
        )
        end_claims(now=now, purpose=number, why=f"batch voided: {why}"[:200], lots=lots)
        postings = surplus_postings(weighings, lots, number) + [
            Posting(
                mass=weighing.mass,
                reason=Reason.DISCARDED,
                at=weighing.at,
                source=lots[weighing.lot_id],
                why=f"Batch {number} voided: {why}",
                batch=number,
                operation=f"weighing {weighing.id}",
                taken_as=(weighing.lot_revision, weighing.lot_concentration),
            )
            for weighing in weighings
        ]
        if postings:
            post(by=by, now=now, postings=postings)
        batch.state = BatchState.VOID
        batch.ended_at = now
        batch.ended_why = why
        save_batch(batch, "state", "ended_at", "ended_why")
        record(by=by, at=now, subject="batch", name=number, verb="voided", why=why)
    return batch


def surplus_postings(weighings: list[Weighing], lots: Mapping[int, Lot], number: str) -> list[Posting]:
    """Where more was poured than the book says was there: the difference counted up, never a negative balance."""
    poured: dict[int, Decimal] = {}
    last: dict[int, datetime] = {}
    for weighing in weighings:
        poured[weighing.lot_id] = poured.get(weighing.lot_id, ZERO_MASS) + weighing.mass
        last[weighing.lot_id] = weighing.at
    return [
        Posting(
            mass=mass - lots[lot_id].on_hand,
            reason=Reason.COUNTED_UP,
            at=last[lot_id],
            target=lots[lot_id],
            why=f"Batch {number} poured more than the book said was there.",
            batch=number,
        )
        for lot_id, mass in sorted(poured.items())
        if mass > lots[lot_id].on_hand
    ]


def stale_batches(*, studio: Studio, now: datetime) -> list[Batch]:
    """Batches of a studio whose claims have seen no weighing that stands for its chosen days, nor a change of plan.

    Where a batch has a day it is to be made on, the days count from that one.
    """
    return list(_stale(studio, now).select_related("by", "by__studio").order_by("id"))


def _stale(studio: Studio, now: datetime) -> ScopedQuerySet[Batch]:
    return unweighed_since(studio, now - timedelta(days=studio.claim_days))


def release_stale_batch(*, now: datetime, batch: Batch) -> bool:
    """Send a stale batch back to draft and let its claims go; False when it has moved on meanwhile."""
    owner = batch.by
    why = f"No weighing for {owner.studio.claim_days} days."
    with work():
        locked = Batch.objects.select_for_update(no_key=True, of=("self",)).get(pk=batch.pk)
        if not _stale(owner.studio, now).filter(pk=locked.pk).exists():
            return False
        lots = lock_lots(studio=owner.studio, ids=claimed_lot_ids(studio=owner.studio, purpose=locked.number))
        end_claims(now=now, purpose=locked.number, why=why, lots=lots)
        locked.state = BatchState.DRAFT
        locked.reserved_at = locked.weighing_at = None
        save_batch(locked, "state", "reserved_at", "weighing_at")
        record(by=owner, at=now, subject="batch", name=locked.number, verb="claims released", why=why)
        close_alert(studio=owner.studio_id, at=now, kind=STALE_CLAIM, key=str(locked.pk))
        tell_member(
            member=owner,
            at=now,
            topic="claims-released",
            subject="batch",
            name=locked.number,
            sentence=f"The claims of batch {locked.number}, {locked.title}, were released. {why} It is a draft again.",
        )
    return True
