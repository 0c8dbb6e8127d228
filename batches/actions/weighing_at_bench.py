"""Recording one weighing as a person at the bench tells it: a lot scanned or typed, and a weight typed or read.

`log_weighings` takes exact grams; here the texts behind them are read, and what the bench asks beyond the API is asked:
a typed weight outside the band a second time, and whether a weighing that somebody else recorded meanwhile on the
same line is known to the one who sends this. That is decided on the edition of the batch that `log_weighings` then
insists on, so nothing slips in between.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from batches.actions.refusing import KIND_OF, LAST_POSITION, Refused
from batches.actions.weighing import Reading, WrongLot, log_weighings
from batches.calc.typed_slips import LineBand, question_about, unit_wanted
from batches.models import Batch, BatchLine, LotTold, ReadingSource, RefusedFor, Weighing
from batches.models.pouring import allowed_band, poured_per_line
from inventory.calc.lot_codes import number_in
from inventory.calc.readings import UnclearWeight, reading_to_keep, typed_weight
from inventory.calc.wording import figure
from inventory.models import Lot
from studio.kernel.errors import Conflict, Invalid, Refusal, StaleEdition
from studio.kernel.mass import ZERO_MASS
from studio.kernel.numbers import BadNumberText, likely_meant
from studio.models import Member
from studio.models.scoped import NoSuchThing

TRIES = 8
LONGEST_OFFLINE = timedelta(days=7)


class MistypedLotNumber(Invalid):
    """A lot number with a wrong character; the sentence names lots that may have been meant."""

    code = "mistyped-lot-number"
    title = "Mistyped lot number"


class AskedTwice(Conflict):
    """A typed weight that leaves its line outside the band is typed a second time before it is recorded."""

    code = "asked-twice"
    title = "Is this weight right?"


class LineMovedOn(Conflict):
    """Somebody else recorded on the same line since it was looked at; this one is recorded only when said so."""

    code = "line-moved-on"
    title = "Somebody else weighed here"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldAtBench:
    """One weighing as it is told. Either `typed` (a weight as typed) or `line` (as the balance sent it) is given.

    `again` is the weight typed a second time. `lot_told` is how the lot was told. `seen` is what
    the line held when the person poured, in grams; None leaves that question out. `age` is how long ago it was weighed, so that a clock that goes wrong does no harm.
    `expired_reason` is why a lot past its day is used all the same.
    """

    operation: str
    position: int
    lot: str
    typed: str = ""
    line: str = ""
    again: str = ""
    lot_told: LotTold | None = None
    seen: Decimal | None = None
    age: timedelta = timedelta()
    expired_reason: str = ""


def record_at_bench(*, by: Member, now: datetime, number: str, told: ToldAtBench) -> Weighing:
    """Record one weighing of a reserved batch; sending it again finds the one that was recorded.

    Raises `MistypedLotNumber`, `UnclearWeight`, `UnfitReading`, `AskedTwice`, `LineMovedOn`, and what `log_weighings`
    raises.
    """
    reading, unit = _reading(by, now, told)
    if Weighing.objects.of(by.studio_id).filter(operation=told.operation).exists():
        return log_weighings(by=by, now=now, number=number, readings=[reading])[0]
    for tries_left in reversed(range(TRIES)):
        batch: Batch = Batch.objects.one(by.studio_id, "batch", number=number)
        _ask(batch, reading, unit, told)
        try:
            return log_weighings(by=by, now=now, number=number, readings=[reading], expected=batch.edition)[0]
        except StaleEdition:
            if not tries_left:
                raise
    raise AssertionError("the last try returns or raises")


def lot_told(*, by: Member, number: str, position: int, text: str) -> Lot:
    """The lot of the line at `position`, when `text` is its number, scanned or typed.

    Raises `MistypedLotNumber` with what may have been meant, or `WrongLot` with the names of both.
    """
    line = _line(Batch.objects.one(by.studio_id, "batch", number=number), position)
    _refuse_wrong_lot(line, _lot_number(by, text))
    return line.lot


def weighed_at(now: datetime, age: timedelta) -> datetime:
    """When something was told at the bench that happened `age` ago."""
    return now - min(max(age, timedelta()), LONGEST_OFFLINE)


def refusal_at_bench(told: ToldAtBench, refusal: Refusal) -> Refused | None:
    """A weighing that was refused, to be noted; None for a refusal that says nothing of the lot or the weight.

    It is named after the weighing and why, so that a weighing sent again and refused alike is noted once.
    """
    kind = KIND_OF.get(refusal.code)
    if kind is None or not 0 < told.position <= LAST_POSITION:
        return None
    about_lot = kind in (RefusedFor.WRONG_LOT, RefusedFor.LOT_ON_HOLD, RefusedFor.LOT_EXPIRED)
    what = told.lot if about_lot else told.line or " then ".join(filter(None, (told.typed, told.again)))
    return Refused(
        operation=f"{told.operation}:{refusal.code}",
        position=told.position,
        kind=kind,
        told=what,
        why=refusal.message,
    )


def _reading(by: Member, now: datetime, told: ToldAtBench) -> tuple[Reading, str]:
    """What is told as a reading, and the unit that was typed."""
    lot = _lot_number(by, told.lot)
    if told.line:
        mass, unit, source = reading_to_keep(told.line), "g", ReadingSource.BALANCE
    else:
        weight = typed_weight(told.typed)
        mass, unit, source = weight.grams, weight.unit, ReadingSource.TYPED
    confirmed = bool(told.again) and not told.line
    if confirmed and typed_weight(told.again).grams != mass:
        raise UnclearWeight(f"First {told.typed.strip()}, then {told.again.strip()}: type the weight anew.")
    reading = Reading(
        position=told.position,
        lot=lot,
        mass=mass,
        source=source,
        reading=told.line.strip(),
        at=weighed_at(now, told.age),
        operation=told.operation,
        confirmed=confirmed,
        expired_reason=told.expired_reason.strip(),
        lot_told=told.lot_told,
    )
    return reading, unit


def _ask(batch: Batch, reading: Reading, unit: str, told: ToldAtBench) -> None:
    """Everything that is asked before a fresh weighing is recorded, on the batch as it was just read."""
    line = _line(batch, reading.position)
    _refuse_wrong_lot(line, reading.lot)
    before = poured_per_line(batch).get(line.id, ZERO_MASS)
    if told.seen is not None and told.seen != before:
        raise LineMovedOn(
            f"Line {line.position} held {figure(told.seen)} g when you looked and holds {figure(before)} g now"
            f"{_last_hand(line)}. Yours of {figure(reading.mass)} g is not recorded yet.",
            holds=before,
        )
    if reading.source != ReadingSource.TYPED:
        return
    smallest, largest = allowed_band(batch, line)
    band = LineBand(line.target, smallest, largest, before)
    wanted = unit_wanted(band, reading.mass, unit)
    if wanted:
        raise UnclearWeight(wanted)
    question = question_about(band, reading.mass)
    if question and not reading.confirmed:
        raise AskedTwice(f"Line {line.position}: {question}", position=line.position)


def _last_hand(line: BatchLine) -> str:
    last = line.weighings.select_related("by__person").order_by("-id").first()
    return f" ({last.by} was the last to weigh there)" if last else ""


def _line(batch: Batch, position: int) -> BatchLine:
    line = batch.lines.select_related("lot").filter(position=position).first()
    if line is None:
        raise NoSuchThing(f"Batch {batch.number} has no line {position}.")
    return line


def _refuse_wrong_lot(line: BatchLine, number: str) -> None:
    if number == line.lot.number:
        return
    in_hand = Lot.objects.of(line.studio_id).filter(number=number).first()
    named = f"{number} ({in_hand.title})" if in_hand else f"{number}, which is no lot of this studio,"
    raise WrongLot(
        f"Line {line.position} takes {line.lot.number} ({line.lot.title}); {named} is in hand. "
        "Nothing was recorded. Take the right lot, or change the plan first.",
        wanted=line.lot.number,
        in_hand=number,
    )


def _lot_number(by: Member, text: str) -> str:
    """The lot number in a scanned or typed text: a label's code, the address of a lot's page, or the number alone.

    Raises `MistypedLotNumber`, or `OtherStudiosLabel`.
    """
    try:
        return number_in(text, studio=by.studio_id)
    except BadNumberText as fault:
        bare = text.rstrip("/").rpartition("/")[2]
        numbers = likely_meant("lot", bare)
        near = Lot.objects.of(by.studio_id).filter(number__in=numbers).order_by("number")[:3]
        meant = [f"{lot.number} ({lot.title})" for lot in near]
        hint = f" Did you mean {' or '.join(meant)}?" if meant else ""
        raise MistypedLotNumber(fault.message + hint, meant=[lot.number for lot in near]) from None
