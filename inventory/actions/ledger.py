"""The ledger: the only code that moves mass, makes claims, and locks lots.

The lock law. Every verb that touches lots calls `lock_lots` once, at its start, with all the lots it will touch. It
locks them in id order, so two verbs can wait for each other but never in a circle. What is then read from the locked
rows (`on_hand`, `reserved`) is the truth until the transaction ends, so a check made on it holds when it is written.
Running numbers of lots and the seal chain are locked after the lots, never before; that of a batch is drawn before.

Movements are posted and balances changed by one statement each, whatever their number: `post` adds the changes up per
lot first, because one UPDATE … FROM would apply only one of two changes to the same lot. The statements write
`movement` rows and the two balances together; CHECK constraints stand behind them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import connection
from django.db.models import Sum

from inventory.actions.keeping import refuse_unasked
from inventory.calc.wording import figure
from inventory.models import Claim, ClaimState, Lot, Movement, Reason
from studio.kernel.errors import Conflict, NotFound
from studio.kernel.mass import ZERO_MASS, micrograms
from studio.models import Member, Studio

ONE = Decimal(1)
LOTS_PER_STATEMENT = 5000
"""Keeps the parameters of one statement below the smallest limit of the two engines (32,766)."""


class NoSuchLot(NotFound):
    """The studio has no lot of that number; look-alikes are suggested by the edge that parsed it."""

    code = "no-such-lot"
    title = "No such lot"


class NotEnoughOnHand(Conflict):
    """A movement would take more out of a lot than it holds."""

    code = "not-enough-on-hand"
    title = "Not enough in the lot"


class Shortage(Conflict):
    """Claims cannot be met in full, so none was made; `shortages` lists lot, wanted and available."""

    code = "shortage"
    title = "Not enough available"


class LotOnHold(Conflict):
    """The lot is on hold and can be neither claimed nor weighed."""

    code = "lot-on-hold"
    title = "The lot is on hold"


@dataclass(frozen=True, slots=True)
class Posting:
    """One movement to be posted: grams from `source` to `target`, either of which may be the outside.

    `at` is when it happened, which may lie in the past; `taken_as` is the source's contents revision and
    concentration then, where they are not today's.
    """

    mass: Decimal
    reason: Reason
    at: datetime
    source: Lot | None = None
    target: Lot | None = None
    why: str = ""
    batch: str = ""
    mass_u: Decimal | None = None
    operation: str | None = None
    reverses: Movement | None = None
    taken_as: tuple[int, Decimal] | None = None


def lock_lots(*, studio: Studio, ids: Iterable[int]) -> dict[int, Lot]:
    """The studio's lots of these ids, locked for the rest of the transaction. Call once per transaction.

    Raises `NoSuchLot` when one of them is not the studio's.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("Lots are locked only inside a transaction.")
    wanted = set(ids)
    rows = (
        Lot.objects.of(studio)
        .filter(id__in=wanted)
        .order_by("id")
        .select_for_update(no_key=True, of=("self",))
    )
    lots = {lot.id: lot for lot in rows}
    if len(lots) != len(wanted):
        raise NoSuchLot("One of these lots does not exist in this studio.")
    return lots


def lock_numbered(*, studio: Studio, numbers: Iterable[str]) -> dict[str, Lot]:
    """Like `lock_lots`, by lot number; `NoSuchLot` names the numbers that are not there."""
    wanted = list(dict.fromkeys(numbers))
    known = dict(Lot.objects.of(studio).filter(number__in=wanted).values_list("number", "id"))
    missing = [number for number in wanted if number not in known]
    if missing:
        raise NoSuchLot(f"There is no lot {', '.join(missing)} in this studio.", lots=missing)
    locked = lock_lots(studio=studio, ids=known.values())
    return {lot.number: lot for lot in locked.values()}


def post(*, by: Member, now: datetime, postings: Sequence[Posting]) -> list[Movement]:
    """Write the movements and bring the balances of their lots up to date; the lots are locked or new.

    Raises `NotEnoughOnHand` and writes nothing when a lot would end below zero.
    """
    changes = _balance_changes(postings)
    for lot, change in changes.values():
        if lot.on_hand + change < 0:
            raise NotEnoughOnHand(
                f"Lot {lot.number} holds {figure(lot.on_hand)} g; {figure(-change)} g cannot be taken out of it.",
                lot=lot.number,
                wanted=-change,
                on_hand=lot.on_hand,
            )
    _apply_balances(changes, now)
    return Movement.objects.bulk_create(_movement(by, now, posting) for posting in postings)


def _movement(by: Member, now: datetime, posting: Posting) -> Movement:
    source = posting.source
    today = (source.contents_revision, source.concentration) if source else (None, ONE)
    revision, concentration = posting.taken_as or today
    return Movement(
        studio_id=by.studio_id,
        source=source,
        target=posting.target,
        source_revision=revision,
        source_concentration=concentration,
        mass=posting.mass,
        mass_u=posting.mass_u,
        reason=posting.reason,
        why=posting.why,
        batch=posting.batch,
        at=posting.at,
        recorded_at=now,
        by=by,
        reverses=posting.reverses,
        operation=posting.operation,
    )


def _balance_changes(postings: Sequence[Posting]) -> dict[int, tuple[Lot, Decimal]]:
    changes: dict[int, tuple[Lot, Decimal]] = {}
    for posting in postings:
        for lot, signed in ((posting.source, -posting.mass), (posting.target, posting.mass)):
            if lot is not None:
                changes[lot.id] = (lot, changes.get(lot.id, (lot, ZERO_MASS))[1] + signed)
    return changes


def _apply_balances(changes: Mapping[int, tuple[Lot, Decimal]], now: datetime) -> None:
    """Change what the lots hold; the Python rows are kept in step. A lot first taken from is opened."""
    stamp = connection.ops.adapt_datetimefield_value(now)
    _update_lots(
        changes,
        """
        on_hand = on_hand + change.column2,
        opened_at = CASE WHEN change.column2 < 0 THEN COALESCE(opened_at, %s) ELSE opened_at END,
        emptied_at = CASE WHEN on_hand + change.column2 = 0 THEN %s ELSE NULL END
        """,
        [stamp, stamp],
    )
    for lot, change in changes.values():
        lot.on_hand += change
        lot.emptied_at = now if lot.on_hand == 0 else None
        if change < 0 and lot.opened_at is None:
            lot.opened_at = now


def claim(
    *, by: Member, now: datetime, purpose: str, wants: Mapping[int, Decimal], lots: Mapping[int, Lot]
) -> None:
    """Claim `wants` grams per lot id for `purpose`: all of it or none. The lots are locked.

    Raises `LotOnHold`, `KeeperNotAsked`, or `Shortage` with every lot that falls short, and writes nothing.
    """
    refuse_held(lots[lot_id] for lot_id in wants)
    refuse_unasked(by=by, purpose=purpose, wants=wants, lots=lots)
    refuse_short(wants, lots)
    _change_reserved({lot_id: (lots[lot_id], wanted) for lot_id, wanted in wants.items()})
    _write_claims(by, now, purpose, wants, lots)


def _write_claims(
    by: Member, now: datetime, purpose: str, wants: Mapping[int, Decimal], lots: Mapping[int, Lot]
) -> None:
    Claim.objects.bulk_create(
        Claim(
            studio_id=by.studio_id,
            lot=lots[lot_id],
            asked=wanted,
            mass=wanted,
            purpose=purpose,
            made_at=now,
            touched_at=now,
            by=by,
        )
        for lot_id, wanted in sorted(wants.items())
    )


def refuse_short(wants: Mapping[int, Decimal], lots: Mapping[int, Lot]) -> None:
    """Raise `Shortage` naming every lot of which less is available than is wanted, in grams."""
    short = {lot_id: wanted for lot_id, wanted in sorted(wants.items()) if wanted > lots[lot_id].available}
    if short:
        sentences = [
            f"{lots[lot_id].number}: {figure(wanted)} g wanted, {figure(lots[lot_id].available)} g available"
            for lot_id, wanted in short.items()
        ]
        shortages = [
            {"lot": lots[lot_id].number, "wanted": wanted, "available": lots[lot_id].available}
            for lot_id, wanted in short.items()
        ]
        raise Shortage("Nothing was reserved. " + "; ".join(sentences) + ".", shortages=shortages)


def refuse_held(lots: Iterable[Lot]) -> None:
    """Raise `LotOnHold` when one of the lots is on hold, naming them and why."""
    held = [lot for lot in lots if lot.held_at is not None]
    if held:
        named = "; ".join(f"{lot.number} ({lot.hold_reason})" for lot in held)
        raise LotOnHold(
            f"On hold: {named}. Release the hold or take another lot.", lots=[lot.number for lot in held]
        )


def note_poured(
    *, by: Member, now: datetime, purpose: str, lot: Lot, poured: Decimal, wanted: Decimal | None = None
) -> None:
    """Tell the claim of `purpose` on a locked lot how much has been poured of it so far, in grams.

    What was really poured is spoken for even beyond what was available: the physical truth wins, and the claims
    that now fall short show it. `wanted` is what the purpose wants of the lot in all from now on; as much of it is
    asked for as there is.
    """
    held = Claim.objects.filter(lot=lot, purpose=purpose, state=ClaimState.OPEN).first()
    asked = held.asked if held else ZERO_MASS
    if wanted is not None:
        free = ZERO_MASS if lot.held_at is not None else lot.available
        asked = min(wanted, (held.mass if held else ZERO_MASS) + free)
    covered = max(asked, poured)
    change = covered - (held.mass if held else ZERO_MASS)
    if change:
        _change_reserved({lot.id: (lot, change)})
    if held is None:
        if covered:
            _write_poured(by, now, purpose, lot, asked, poured)
        return
    held.poured, held.touched_at = poured, now
    if covered:
        held.asked, held.mass = asked, covered
    else:
        held.state, held.ended_at, held.ended_why = ClaimState.RELEASED, now, "nothing poured after all"
    held.save(update_fields=["asked", "poured", "mass", "touched_at", "state", "ended_at", "ended_why"])


def _write_poured(by: Member, now: datetime, purpose: str, lot: Lot, asked: Decimal, poured: Decimal) -> None:
    Claim.objects.create(
        studio_id=by.studio_id,
        lot=lot,
        asked=asked,
        poured=poured,
        mass=max(asked, poured),
        purpose=purpose,
        made_at=now,
        touched_at=now,
        by=by,
    )


def end_claims(*, now: datetime, purpose: str, why: str, lots: Mapping[int, Lot]) -> None:
    """End every open claim of `purpose`: what was poured is settled, the rest released. Their lots are locked."""
    claims = list(
        Claim.objects.filter(purpose=purpose, state=ClaimState.OPEN, lot_id__in=lots).order_by("id")
    )
    if not claims:
        return
    _change_reserved({held.lot_id: (lots[held.lot_id], -held.mass) for held in claims})
    for held in claims:
        held.settled = held.poured
        held.state = ClaimState.SETTLED if held.settled else ClaimState.RELEASED
        held.ended_at = now
        held.ended_why = why
    Claim.objects.bulk_update(claims, ["settled", "state", "ended_at", "ended_why"])


def change_claims(
    *, by: Member, now: datetime, purpose: str, wants: Mapping[int, Decimal], lots: Mapping[int, Lot]
) -> None:
    """Make the open claims of `purpose` ask for `wants` grams per lot id, all or nothing; the lots are locked.

    What was already poured stays claimed, and what the purpose held counts as available to it. Raises like `claim`
    when more is asked for than is there.
    """
    held = {
        one.lot_id: one
        for one in Claim.objects.filter(purpose=purpose, state=ClaimState.OPEN, lot_id__in=lots).order_by(
            "id"
        )
    }
    masses = {
        lot_id: max(wants.get(lot_id, ZERO_MASS), held[lot_id].poured if lot_id in held else ZERO_MASS)
        for lot_id in {*wants, *held}
    }
    more = {
        lot_id: mass - (held[lot_id].mass if lot_id in held else ZERO_MASS) for lot_id, mass in masses.items()
    }
    grown = {lot_id: extra for lot_id, extra in more.items() if extra > 0}
    refuse_held(lots[lot_id] for lot_id in grown)
    refuse_unasked(by=by, purpose=purpose, wants={lot_id: masses[lot_id] for lot_id in grown}, lots=lots)
    refuse_short(grown, lots)
    _change_reserved({lot_id: (lots[lot_id], extra) for lot_id, extra in more.items() if extra})
    for lot_id, one in held.items():
        one.asked, one.mass, one.touched_at = wants.get(lot_id, ZERO_MASS), masses[lot_id], now
        if not one.mass:
            one.mass = one.asked = -more[lot_id]
            one.state, one.ended_at, one.ended_why = ClaimState.RELEASED, now, "plan changed"
    Claim.objects.bulk_update(
        held.values(), ["asked", "mass", "touched_at", "state", "ended_at", "ended_why"]
    )
    fresh = {lot_id: wanted for lot_id, wanted in wants.items() if wanted and lot_id not in held}
    _write_claims(by, now, purpose, fresh, lots)


def poured_and_not_booked(lot: Lot) -> Decimal:
    """Grams of a locked lot that open batches have poured: out of the container, still in the book."""
    claims = Claim.objects.filter(lot=lot, state=ClaimState.OPEN)
    return claims.aggregate(poured=Sum("poured"))["poured"] or ZERO_MASS


def claimed_lot_ids(*, studio: Studio, purpose: str) -> list[int]:
    """Ids of the lots on which `purpose` holds open claims, to be locked before they are changed."""
    return list(
        Claim.objects.of(studio)
        .filter(purpose=purpose, state=ClaimState.OPEN)
        .order_by("lot_id")
        .values_list("lot_id", flat=True)
    )


def _change_reserved(changes: Mapping[int, tuple[Lot, Decimal]]) -> None:
    """Change what is reserved of the lots; the Python rows are kept in step."""
    _update_lots(changes, "reserved = reserved + change.column2", [])
    for lot, change in changes.values():
        lot.reserved += change


def _update_lots(
    changes: Mapping[int, tuple[Lot, Decimal]], assignments: str, parameters: Sequence[Any]
) -> None:
    """One UPDATE over many lots, each with its own change in micrograms, and the next edition of each."""
    ordered = sorted(changes.items())
    for start in range(0, len(ordered), LOTS_PER_STATEMENT):
        part = ordered[start : start + LOTS_PER_STATEMENT]
        rows = ", ".join(["(%s, %s)"] * len(part))
        values = [number for lot_id, (_, change) in part for number in (lot_id, micrograms(change))]
        with connection.cursor() as cursor:
            cursor.execute(
                f"UPDATE inventory_lot SET {assignments}, edition = edition + 1 "
                f"FROM (VALUES {rows}) AS change WHERE inventory_lot.id = change.column1",
                [*parameters, *values],
            )
    for lot, _ in changes.values():
        lot.edition += 1
