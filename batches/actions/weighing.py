"""Logging what was really weighed, and striking a wrong entry through.

A weighing records the physical truth: more than the target, more than was reserved and more than the book says is
there are all taken down, and what follows from them is shown. Only what cannot be true is refused, or is so unlikely
that it is asked for twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import IntegrityError
from django.db.models import Sum

from batches.actions.batch_lock import lock_batch, refuse_other_state, save_batch
from batches.models import CLAIMING, Batch, BatchLine, BatchState, LotTold, ReadingSource, Weighing
from batches.models.pouring import (
    allowed_band,
    poured_per_line,
    poured_per_line_and_lot,
    wanted_per_lot,
)
from inventory.actions.ledger import lock_lots, note_poured, refuse_held
from inventory.actions.lots import refuse_expired
from inventory.actions.short_claims import tell_of_short_claims
from inventory.calc.weighing import net_mass_uncertainty
from inventory.calc.wording import figure, percent
from inventory.models import Balance, BalanceCheck, Lot
from inventory.models.places import traits_of
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults
from studio.kernel.mass import ZERO_MASS, nearest_mass
from studio.kernel.moments import InTheFuture, happened
from studio.kernel.work import work
from studio.models import Member


class WrongLot(Conflict):
    """The lot in hand is not the one this line takes. Nothing was recorded."""

    code = "wrong-lot"
    title = "Wrong lot"


class OutsideTolerance(Conflict):
    """A typed mass far from its target is recorded only when it is said to be right."""

    code = "outside-tolerance"
    title = "Outside the allowed band"


class VialLeftOut(Conflict):
    """The vial this line goes into was left out of its grid; nothing more is poured into it."""

    code = "vial-left-out"
    title = "The vial was left out"


class OperationReused(Conflict):
    """The name of this one weighing already stands for another."""

    code = "operation-reused"
    title = "Already recorded as something else"


class AlreadyStruck(Conflict):
    """A weighing is struck through once."""

    code = "already-struck"
    title = "Already struck through"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One weighing as it is told: net grams of `lot` for the line at `position`.

    `lot_told` says how the lot in hand was told, None when that is not known.
    `operation` is the client's own name for this weighing, so that sending it again records it once. `confirmed`
    says that a typed mass outside the band is meant; `expired_reason` why a lot past its day is used all the same.
    """

    position: int
    lot: str
    mass: Decimal
    source: ReadingSource = ReadingSource.TYPED
    reading: str = ""
    lot_told: LotTold | None = None
    at: datetime | None = None
    operation: str | None = None
    confirmed: bool = False
    expired_reason: str = ""


def log_weighings(
    *,
    by: Member,
    now: datetime,
    number: str,
    readings: Sequence[Reading],
    balance: Balance | None = None,
    expected: int | None = None,
) -> list[Weighing]:
    """Record weighings of a reserved batch, all or none, in the order given.

    Those that were recorded before, by the name of their operation, are found again, also when the batch has moved on.
    Raises `WrongLot`, `VialLeftOut`, `LotOnHold`, `LotExpired`, `OutsideTolerance`, `OperationReused`, `Invalid`,
    `WrongState`, `StaleEdition`.
    """
    with work():
        batch = lock_batch(by=by, number=number, states=tuple(BatchState), doing="weighed")
        known = _already_recorded(by, batch, readings)
        fresh = {place: reading for place, reading in enumerate(readings) if reading.operation not in known}
        if fresh:
            refuse_stale(batch, expected, f"Batch {number}")
            refuse_other_state(batch, CLAIMING, "weighed")
            lines = {line.position: line for line in batch.lines.select_related("lot")}
            _check_positions(batch, lines, fresh)
            on = balance or batch.balance
            _check_told(fresh, on, now)
            weighings = _record(by, now, batch, lines, list(fresh.values()), on)
            known |= {weighing.operation: weighing for weighing in weighings if weighing.operation}
            unnamed = iter([weighing for weighing in weighings if not weighing.operation])
        return [known[r.operation] if r.operation else next(unnamed) for r in readings]


def _record(
    by: Member,
    now: datetime,
    batch: Batch,
    lines: dict[int, BatchLine],
    readings: Sequence[Reading],
    balance: Balance | None,
) -> list[Weighing]:
    lots = lock_lots(studio=by.studio, ids={lines[reading.position].lot_id for reading in readings})
    refuse_held(lots.values())
    _give_reasons(now, lines, lots, readings)
    poured = poured_per_line(batch)
    for reading in readings:
        _ask_twice_when_far_off(batch, lines[reading.position], reading, poured)
    check = _last_passed_check(balance)
    weighings = [
        Weighing(
            studio_id=by.studio_id,
            batch=batch,
            line=lines[reading.position],
            lot_id=lines[reading.position].lot_id,
            lot_revision=lots[lines[reading.position].lot_id].contents_revision,
            lot_concentration=lots[lines[reading.position].lot_id].concentration,
            mass=reading.mass,
            mass_u=None if balance is None else nearest_mass(net_mass_uncertainty(traits_of(balance))),
            balance=balance,
            balance_check=check,
            source=reading.source,
            reading=reading.reading,
            lot_told=reading.lot_told,
            at=happened(reading.at, now),
            recorded_at=now,
            by=by,
            operation=reading.operation,
            expired_reason=_reason(now, lines[reading.position], lots, reading),
        )
        for reading in readings
    ]
    _write(by, batch, readings, weighings)
    _tell_claims(by, now, batch, lots)
    if batch.state == BatchState.RESERVED:
        batch.state = BatchState.WEIGHING
        batch.weighing_at = now
    save_batch(batch, "state", "weighing_at")
    return weighings


def _write(by: Member, batch: Batch, readings: Sequence[Reading], weighings: list[Weighing]) -> None:
    """Raises `OperationReused` when another batch took one of the names after they were looked up."""
    try:
        with work():
            Weighing.objects.bulk_create(weighings)
    except IntegrityError:
        _already_recorded(by, batch, readings)
        raise


def strike_weighing(
    *, by: Member, now: datetime, number: str, weighing_id: int, why: str, expected: int | None = None
) -> Weighing:
    """Strike a wrong entry through; it stays readable. What was poured is what the other entries say.

    Raises `AlreadyStruck`, `WrongState`.
    """
    with work():
        batch = lock_batch(
            by=by, number=number, states=[BatchState.WEIGHING], doing="corrected", expected=expected
        )
        weighing: Weighing = (
            Weighing.objects.filter(batch=batch)
            .select_related("line")
            .one(by.studio_id, "weighing", id=weighing_id)
        )
        if weighing.struck_at is not None:
            raise AlreadyStruck(f"This weighing was already struck through: {weighing.strike_reason}")
        lots = lock_lots(studio=by.studio, ids={weighing.lot_id, weighing.line.lot_id})
        weighing.struck_at, weighing.struck_by, weighing.strike_reason = now, by, why
        weighing.save(update_fields=["struck_at", "struck_by", "strike_reason"])
        _tell_claims(by, now, batch, lots, anew=len(lots) > 1)
        save_batch(batch)
        record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            verb="weighing struck",
            changes={"mass": [str(weighing.mass), None]},
            why=why,
        )
    return weighing


def _tell_claims(
    by: Member, now: datetime, batch: Batch, lots: dict[int, Lot], *, anew: bool = False
) -> None:
    """Bring the batch's claims on these lots up to what has been poured of them.

    `anew` asks for what the lines want of them now: what was struck of one lot is to be poured of another.
    """
    wanted = wanted_per_lot(batch.lines.all(), poured_per_line_and_lot(batch)) if anew else {}
    poured = dict(
        batch.weighings.all()
        .standing()
        .filter(lot_id__in=lots)
        .order_by("lot_id")
        .values_list("lot_id")
        .annotate(Sum("mass"))
    )
    for lot_id, lot in sorted(lots.items()):
        note_poured(
            by=by,
            now=now,
            purpose=batch.number,
            lot=lot,
            poured=poured.get(lot_id, ZERO_MASS),
            wanted=wanted.get(lot_id, ZERO_MASS) if anew else None,
        )
    tell_of_short_claims(by=by, now=now, lots=lots.values())


def _already_recorded(by: Member, batch: Batch, readings: Sequence[Reading]) -> dict[str | None, Weighing]:
    """Weighings that were recorded under the operations named here; raises `OperationReused` when they differ."""
    named: dict[str, Reading] = {}
    for reading in readings:
        if reading.operation in named:
            raise OperationReused(
                f"“{reading.operation}” names two of these weighings; give each a name of its own."
            )
        if reading.operation:
            named[reading.operation] = reading
    rows = Weighing.objects.of(by.studio_id).filter(operation__in=named).select_related("line", "lot")
    found: dict[str | None, Weighing] = {}
    for weighing in rows.order_by("id"):
        told = named[weighing.operation or ""]
        same = (weighing.batch_id, weighing.line.position, weighing.mass, weighing.lot.number)
        if same != (batch.id, told.position, told.mass, told.lot):
            raise OperationReused(
                f"“{weighing.operation}” already stands for {figure(weighing.mass)} g of {weighing.lot.number}."
            )
        found[weighing.operation] = weighing
    return found


def _give_reasons(
    now: datetime, lines: dict[int, BatchLine], lots: Mapping[int, Lot], readings: Sequence[Reading]
) -> None:
    """A reason given once holds for its line; a lot may have passed its day since it was reserved."""
    given = {}
    for reading in readings:
        line = lines[reading.position]
        if reading.expired_reason and _is_expired(now, lots[line.lot_id], reading):
            line.expired_reason = reading.expired_reason
            given[line.id] = line
        on = happened(reading.at, now).date()
        refuse_expired(lots=[lots[line.lot_id]], on=on, reason=line.expired_reason)
    BatchLine.objects.bulk_update(given.values(), ["expired_reason"])


def _reason(now: datetime, line: BatchLine, lots: Mapping[int, Lot], reading: Reading) -> str:
    expired = _is_expired(now, lots[line.lot_id], reading)
    return (reading.expired_reason or line.expired_reason) if expired else ""


def _is_expired(now: datetime, lot: Lot, reading: Reading) -> bool:
    return lot.expires_on is not None and lot.expires_on < happened(reading.at, now).date()


def _check_positions(batch: Batch, lines: dict[int, BatchLine], readings: Mapping[int, Reading]) -> None:
    faults = Faults()
    for place, reading in readings.items():
        line = lines.get(reading.position)
        if line is None:
            faults.add(f"weighings.{place}.position", f"Batch {batch.number} has no line {reading.position}.")
        elif line.left_out:
            raise VialLeftOut(
                f"Line {reading.position} goes into a vial that was left out of the grid. Nothing was recorded."
            )
        elif reading.lot != line.lot.number:
            raise WrongLot(
                f"Line {reading.position} takes lot {line.lot.number} ({line.lot.title}); lot {reading.lot} is in "
                "hand. Nothing was recorded. Take the right lot, or change the plan first.",
                wanted=line.lot.number,
                in_hand=reading.lot,
            )
    faults.refuse_if_any()


def _check_told(readings: Mapping[int, Reading], balance: Balance | None, now: datetime) -> None:
    """Refuse what cannot be true: a time to come, named by the place of its reading, or more than a balance weighs."""
    faults = Faults()
    for place, reading in readings.items():
        try:
            happened(reading.at, now)
        except InTheFuture as fault:
            raise InTheFuture(fault.message, errors={f"weighings.{place}.at": [fault.message]}) from None
        if balance is not None and reading.mass > balance.capacity:
            faults.add(
                f"weighings.{place}.mass",
                f"{figure(reading.mass)} g is more than balance {balance.name} can weigh "
                f"({figure(balance.capacity)} g).",
            )
    faults.refuse_if_any()


def _ask_twice_when_far_off(
    batch: Batch, line: BatchLine, reading: Reading, poured: dict[int, Decimal]
) -> None:
    """A slip of a decimal point is typed, not weighed: beyond the band a typed mass needs a yes."""
    before = poured.get(line.id, ZERO_MASS)
    poured[line.id] = before + reading.mass
    if reading.source != ReadingSource.TYPED or reading.confirmed:
        return
    _, largest = allowed_band(batch, line)
    if before + reading.mass > largest:
        raise OutsideTolerance(
            f"Line {line.position} aims at {figure(line.target)} g, at most {figure(largest)} g "
            f"within {percent(batch.tolerance)}; with {figure(reading.mass)} g it would hold "
            f"{figure(before + reading.mass)} g. Send it again with confirmed set to true if that is what was poured.",
            position=line.position,
            target=line.target,
            largest=largest,
            would_hold=before + reading.mass,
        )


def _last_passed_check(balance: Balance | None) -> BalanceCheck | None:
    if balance is None:
        return None
    return balance.checks.filter(passed=True).order_by("-at", "-id").first()
