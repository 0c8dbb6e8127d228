"""Dipping a strip, noting what is smelled, correcting a note, throwing a strip away.

A note is on a lot, on a vial under a blind code, or on a strip that was dipped into one of them. With a strip the
minutes since dipping follow from its clock. Nothing is changed afterwards: who was mistaken writes the note again, and
the earlier one stays behind it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from batches.actions.blind_smelling import locked_set, vial_to_smell
from batches.actions.smelling_words import LONGEST_WORD, words_said
from batches.calc.smelling import HIGHEST_INTENSITY, HIGHEST_LIKING, LOWEST_INTENSITY, tidy_word
from batches.models import BlindVial, IntensityScale, Smelling, SmellingSaid, Strip
from inventory.models import Lot
from studio.kernel.errors import Conflict, Faults, Forbidden
from studio.kernel.work import work
from studio.models import Member

MOST_WORDS = 30
MOST_REMINDERS = 12
LATEST_REMINDER = 7 * 24 * 60
LONGEST_MINUTES = Decimal(99_999)


class HeldLot(Conflict):
    """A lot on hold is not smelled."""

    code = "not-to-be-smelled"
    title = "On hold"


class NotYourStrip(Forbidden):
    """A strip's clock is read by who dipped it."""

    code = "not-your-strip"
    title = "Somebody else's strip"


class StripEnded(Conflict):
    """The strip was thrown away."""

    code = "strip-ended"
    title = "Thrown away"


class NotYourNote(Forbidden):
    """A note is corrected by the person whose nose it was."""

    code = "not-your-note"
    title = "Somebody else's note"


class NoteCorrected(Conflict):
    """The note was corrected before; the later one can be corrected in turn."""

    code = "note-corrected"
    title = "Corrected before"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderCode:
    """A vial of a blind set, by the code on it."""

    set_id: int
    code: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What a nose notes; all of it may be left out, but not everything at once. Intensity is on `scale`, liking 1 to 9."""

    intensity: Decimal | None = None
    scale: IntensityScale = IntensityScale.PLAIN
    liking: int | None = None
    words: Sequence[str] = ()
    text: str = ""
    colour: str = ""
    picture: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _On:
    """What a note is on, once it is found."""

    lot: Lot
    blind: BlindVial | None = None
    strip: Strip | None = None


def dip(
    *,
    by: Member,
    now: datetime,
    into: Lot | UnderCode,
    dipped_at: datetime | None = None,
    remind_minutes: Sequence[int] = (),
) -> Strip:
    """Start the clock of a strip. Raises `Invalid`, `HeldLot`, and what `vial_to_smell` raises."""
    dipped_at = dipped_at or now
    with work():
        _check_dip(now, dipped_at, remind_minutes)
        on = _found(by, into)
        strip: Strip = Strip.objects.create(
            studio_id=by.studio_id,
            lot=on.lot,
            blind=on.blind,
            by=by,
            dipped_at=dipped_at,
            remind_minutes=sorted(set(remind_minutes)),
        )
    return strip


def end_strip(*, by: Member, now: datetime, strip_id: int, at: datetime | None = None) -> Strip:
    """Throw a strip away; its notes stay. Raises `NotYourStrip`, `StripEnded`, `Invalid`."""
    with work():
        strip = _own_strip(by, strip_id)
        at = at or now
        faults = Faults()
        if not strip.dipped_at <= at <= now:
            faults.add("at", "A strip is thrown away after it was dipped, and not later than now.")
        faults.refuse_if_any()
        strip.ended_at = at
        strip.save(update_fields=["ended_at"])
    return strip


def note_smelling(
    *,
    by: Member,
    now: datetime,
    on: Lot | UnderCode | int,
    said: Said,
    at: datetime | None = None,
    minutes: Decimal | None = None,
) -> Smelling:
    """Note what is smelled on a lot, under a code, or (an id) on a strip. `at` may lie in the past, not before dipping.

    Raises `Invalid` with every fault, `HeldLot`, `NotYourStrip`, `StripEnded`, and what `vial_to_smell` raises.
    """
    with work():
        found = _found(by, on)
        at = at or now
        _check(now, at, said, found.strip, minutes)
        if found.strip is not None:
            minutes = _minutes(at - found.strip.dipped_at)
        return _kept(by, now, found, said, at, minutes)


def correct_smelling(*, by: Member, now: datetime, smelling_id: int, said: Said) -> Smelling:
    """Write a note of one's own anew; the earlier one stays and is told. Raises `NotYourNote`, `NoteCorrected`, `Invalid`."""
    with work():
        rows = Smelling.objects.select_for_update(no_key=True, of=("self",)).select_related("lot", "strip")
        earlier = rows.seen_by(by).one(by.studio_id, "smelling note", id=smelling_id)
        if earlier.by_id != by.pk:
            raise NotYourNote("Only who smelled it corrects a note; write one of your own beside it.")
        if Smelling.objects.filter(corrects=earlier).exists():
            raise NoteCorrected("This note was corrected before; correct the later one.")
        _check(now, earlier.at, said, earlier.strip, None)
        on = _On(lot=earlier.lot, blind=earlier.blind, strip=earlier.strip)
        return _kept(by, now, on, said, earlier.at, earlier.minutes, corrects=earlier)


def _kept(
    by: Member,
    now: datetime,
    on: _On,
    said: Said,
    at: datetime,
    minutes: Decimal | None,
    corrects: Smelling | None = None,
) -> Smelling:
    note: Smelling = Smelling.objects.create(
        studio_id=by.studio_id,
        lot=on.lot,
        blind=on.blind,
        strip=on.strip,
        by=by,
        at=at,
        recorded_at=now,
        minutes=minutes,
        scale="" if said.intensity is None else said.scale,
        intensity=said.intensity,
        liking=said.liking,
        text=said.text,
        colour=said.colour,
        picture=said.picture,
        corrects=corrects,
    )
    SmellingSaid.objects.bulk_create(
        SmellingSaid(studio_id=by.studio_id, smelling=note, word=word, position=place, said=text)
        for place, (word, text) in enumerate(words_said(by=by, now=now, texts=said.words), 1)
    )
    return note


def _found(by: Member, on: Lot | UnderCode | int) -> _On:
    if isinstance(on, UnderCode):
        vial = vial_to_smell(by, on.set_id, on.code)
        return _On(lot=vial.lot, blind=vial)
    if isinstance(on, int):
        return _of_strip(by, _own_strip(by, on))
    _refuse_held(on)
    return _On(lot=on)


def _of_strip(by: Member, strip: Strip) -> _On:
    """A strip from a blind set that was revealed meanwhile is smelled knowingly from then on."""
    if strip.blind is not None and not locked_set(by, strip.blind.blind_set_id).is_revealed:
        vial_to_smell(by, strip.blind.blind_set_id, strip.blind.code)
        return _On(lot=strip.lot, blind=strip.blind, strip=strip)
    _refuse_held(strip.lot)
    return _On(lot=strip.lot, strip=strip)


def _own_strip(by: Member, strip_id: int) -> Strip:
    rows = Strip.objects.select_for_update(no_key=True, of=("self",)).select_related("lot", "blind")
    strip: Strip = rows.one(by.studio_id, "strip", id=strip_id)
    if strip.by_id != by.pk:
        raise NotYourStrip("Somebody else dipped this strip; dip one of your own.")
    if strip.ended_at is not None:
        raise StripEnded("This strip was thrown away; dip another.")
    return strip


def _refuse_held(lot: Lot) -> None:
    if lot.held_at is not None:
        raise HeldLot(
            f"Lot {lot.number} is on hold: {lot.hold_reason} Nobody is to smell it.", lot=lot.number
        )


def _minutes(since: timedelta) -> Decimal:
    """Minutes to a tenth, rounded half-even: a nose takes longer than three seconds."""
    return round(Decimal(since // timedelta(seconds=1)) / 60, 1)


def _check_dip(now: datetime, dipped_at: datetime, remind_minutes: Sequence[int]) -> None:
    faults = Faults()
    if dipped_at > now:
        faults.add("dipped_at", "A strip was dipped now or before.")
    if now - dipped_at > timedelta(minutes=LATEST_REMINDER):
        faults.add("dipped_at", "That is more than a week ago; no strip smells so long.")
    if len(remind_minutes) > MOST_REMINDERS:
        faults.add("remind_minutes", f"Choose at most {MOST_REMINDERS} reminders.")
    if any(not 1 <= one <= LATEST_REMINDER for one in remind_minutes):
        faults.add("remind_minutes", f"A reminder comes 1 to {LATEST_REMINDER} minutes after dipping.")
    faults.refuse_if_any()


def _check(now: datetime, at: datetime, said: Said, strip: Strip | None, minutes: Decimal | None) -> None:
    faults = Faults()
    given = (said.intensity, said.liking)
    if all(one is None for one in given) and not any((said.words, said.text, said.colour, said.picture)):
        faults.add("text", "A note says something: an intensity, a liking, words, or a sentence.")
    if said.intensity is not None and not LOWEST_INTENSITY <= said.intensity <= HIGHEST_INTENSITY:
        faults.add("intensity", f"Intensity goes from {LOWEST_INTENSITY} to {HIGHEST_INTENSITY}.")
    if said.liking is not None and not 1 <= said.liking <= HIGHEST_LIKING:
        faults.add("liking", f"Liking goes from 1 to {HIGHEST_LIKING}; {HIGHEST_LIKING} is the most liked.")
    if len(said.words) > MOST_WORDS:
        faults.add("words", f"At most {MOST_WORDS} words are kept; say the rest as text.")
    if any(not 1 <= len(tidy_word(word)) <= LONGEST_WORD for word in said.words):
        faults.add("words", f"Each word has 1 to {LONGEST_WORD} characters.")
    if at > now:
        faults.add("at", "It was smelled now or before.")
    if strip is not None and at < strip.dipped_at:
        faults.add("at", "That is before the strip was dipped.")
    if strip is not None and minutes is not None:
        faults.add("minutes", "The strip's clock tells the minutes; leave this out.")
    if minutes is not None and not 0 <= minutes <= LONGEST_MINUTES:
        faults.add("minutes", f"Minutes since dipping are 0 to {LONGEST_MINUTES}.")
    faults.refuse_if_any()
