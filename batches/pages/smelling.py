"""Smelling at the table: dip, see the clocks, note what is smelled, and read what was noted on a lot."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from batches.actions.smelling import (
    NotYourNote,
    NotYourStrip,
    correct_smelling,
    dip,
    end_strip,
    note_smelling,
)
from batches.models import IntensityScale, Smelling, Strip
from batches.pages.smelling_drawing import curves_of
from batches.pages.smelling_forms import DipForm, NoteForm
from batches.queries.smelling import (
    blind_set_at,
    blind_sets_of,
    cautions_of_set,
    notes_on,
    smellings_of,
    strips_of,
    usual_words,
)
from inventory.calc.codes import DEFERRING_WORDS
from inventory.models import Lot
from inventory.queries.finding import lot_at, lot_number, lots_likely_meant
from inventory.queries.shelf import cautions_of_each, lots_of
from studio.kernel.errors import Invalid
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MOST_STRIPS = 40


@dataclass(frozen=True, slots=True)
class Clock:
    """A strip with the minutes on its clock, the reminder that is due, and those that are to come."""

    strip: Strip
    minutes: int
    due: int | None
    to_come: str


@require_safe
@for_members
def smelling(request: HttpRequest, member: Member) -> HttpResponse:
    """The strips in hand, dipping, blind sets that wait, and what was noted lately."""
    now = timezone.now()
    running = strips_of(member).running().filter(by=member).order_by("-dipped_at", "-id")
    context = {
        "clocks": clocks(list(running.prefetch_related("notes")[:MOST_STRIPS]), now),
        "form": DipForm(),
        "sets": blind_sets_of(member.studio).filter(revealed_at=None).order_by("-id")[:20],
        "listing": Listing.of(smellings_of(member).standing().order_by("-at", "-id"), request),
    }
    return shown(request, "batches/smelling/smelling.html", context)


@BOTH
@for_makers
@once
def dip_strip(request: HttpRequest, member: Member) -> HttpResponse:
    """Dip a strip into a lot."""
    form = DipForm(sent(request), initial={"lot": request.GET.get("lot", "")[:80]})
    if form.is_valid():
        with faults_into(form):
            strip = dip(
                by=member,
                now=timezone.now(),
                into=typed_lot(member, form.cleaned_data["lot"]),
                remind_minutes=form.cleaned_data["remind_minutes"] or [],
            )
    if form.is_valid():
        return done(request, "Dipped: the clock runs. Smell, and note it.", "strip", strip.pk)
    context = {
        "heading": "Dip a strip",
        "lead": "Its clock runs from the moment you press.",
        "send": "Dipped now",
        "back": reverse("smelling"),
        "back_to": "Smelling",
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def strip_note(request: HttpRequest, member: Member, strip_id: int) -> HttpResponse:
    """Note what a strip smells of now."""
    strip = strips_of(member).one(member.studio, "strip", id=strip_id)
    if strip.by_id != member.pk:
        raise NotYourStrip("Somebody else dipped this strip; dip one of your own.")
    form = note_form(request, member)
    if form.is_valid():
        with faults_into(form):
            note_smelling(by=member, now=timezone.now(), on=strip_id, said=form.said)
    if form.is_valid():
        return done(request, "Noted. Rest your nose before the next one.", "smelling")
    [clock] = clocks([strip], timezone.now())
    context = {
        "clock": clock,
        "back": reverse("smelling"),
        "heading": strip.told_title or f"Vial {strip.blind and strip.blind.code}",
        "scale": form.of_scale,
        **_cautions_for(member, strip),
    }
    return shown(request, "batches/smelling/note.html", context, form)


@require_POST
@for_makers
@once
def throw_away(request: HttpRequest, member: Member, strip_id: int) -> HttpResponse:
    """Throw a strip away."""
    end_strip(by=member, now=timezone.now(), strip_id=strip_id)
    return done(request, "Thrown away; its notes stay.", "smelling")


@require_safe
@for_members
def smelled_lot(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """What noses noted on a lot, drawn over the minutes since dipping, with its cautions."""
    lot = lot_at(lots_of(member.studio), number)
    notes = list(notes_on(member, lot).order_by("-at", "-id")[:200])
    context = {
        "lot": lot,
        "notes": notes,
        "curves": curves_of([note for note in notes if note.corrected_by_id is None]),
        "report": cautions_of_each([lot])[lot.pk],
    }
    return shown(request, "batches/smelling/lot.html", context)


@BOTH
@for_makers
@once
def lot_note(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Note what is smelled on a lot without a strip."""
    lot = lot_at(lots_of(member.studio), number)
    form = note_form(request, member)
    if form.is_valid():
        with faults_into(form):
            note_smelling(by=member, now=timezone.now(), on=lot, said=form.said)
    if form.is_valid():
        return done(request, "Noted. Rest your nose before the next one.", "smelled-lot", lot.number)
    context = {
        "heading": lot.title,
        "back": reverse("smelled-lot", args=[lot.number]),
        "number": lot.number,
        "scale": form.of_scale,
        "report": cautions_of_each([lot])[lot.pk],
    }
    return shown(request, "batches/smelling/note.html", context, form)


@BOTH
@for_makers
@once
def correct(request: HttpRequest, member: Member, smelling_id: int) -> HttpResponse:
    """Write a note of one's own anew; the earlier one stays."""
    note = smellings_of(member).one(member.studio, "smelling note", id=smelling_id)
    if note.by_id != member.pk:
        raise NotYourNote("Only who smelled it corrects a note; write one of your own beside it.")
    scale = IntensityScale(note.scale or IntensityScale.PLAIN)
    form = note_form(request, member, scale=scale, initial=_as_noted(note, scale))
    if form.is_valid():
        with faults_into(form):
            correct_smelling(by=member, now=timezone.now(), smelling_id=smelling_id, said=form.said)
    if form.is_valid():
        return done(request, "Corrected; the earlier note stays behind this one.", "smelling")
    context = {
        "heading": "Correct a note",
        "lead": "The whole note is written anew. The earlier one stays and says that it was corrected.",
        "back": reverse("smelling"),
    }
    return shown(request, "batches/smelling/note.html", context, form)


def note_form(
    request: HttpRequest,
    member: Member,
    *,
    scale: IntensityScale | None = None,
    initial: dict[str, Any] | None = None,
) -> NoteForm:
    """The form of a note, on the scale that was asked for: the plain one otherwise."""
    if scale is None:
        asked = (sent(request) or request.GET).get("scale", "")
        scale = IntensityScale(asked) if asked in IntensityScale.values else IntensityScale.PLAIN
    return NoteForm(sent(request), usual=usual_words(member.studio), scale=scale, initial=initial or {})


def typed_lot(member: Member, text: str) -> Lot:
    """The lot whose number was typed or scanned; raises `Invalid` with what may have been meant."""
    number = lot_number(text, member.studio)
    if number is not None:
        return lot_at(lots_of(member.studio), number)
    meant = " or ".join(lot.number for lot in lots_likely_meant(member.studio, text))
    hint = f" Did you mean {meant}?" if meant else " Look at the label again."
    sentence = f"There is no lot {text[:40]} in this studio.{hint}"
    raise Invalid(sentence, errors={"lot": [sentence], "lots": [sentence]})


def clocks(strips: Sequence[Strip], now: datetime) -> list[Clock]:
    """The strips with their clocks; a reminder is due from its minute on until the strip is noted after it."""
    return [_clock(strip, now) for strip in strips]


def _clock(strip: Strip, now: datetime) -> Clock:
    minutes = (now - strip.dipped_at) // timedelta(minutes=1)
    last = max((float(note.minutes or 0) for note in strip.notes.all()), default=-1.0)
    due = [one for one in strip.remind_minutes if last < one <= minutes]
    to_come = ",".join(str(one) for one in strip.remind_minutes if one > minutes)
    return Clock(strip, minutes, due[-1] if due else None, to_come)


def _cautions_for(member: Member, strip: Strip) -> dict[str, Any]:
    """The cautions of what a strip was dipped into; of a code that hides its lot those of the whole set."""
    if strip.told_lot is None and strip.blind is not None:
        found = blind_set_at(member.studio, strip.blind.blind_set_id)
        return {"of_set": cautions_of_set(found), "deferring_words": DEFERRING_WORDS}
    lot = lot_at(lots_of(member.studio), strip.told_lot or "")
    return {"report": cautions_of_each([lot])[lot.pk], "number": lot.number}


def _as_noted(note: Smelling, scale: IntensityScale) -> dict[str, Any]:
    shown = None if note.intensity is None else f"{note.intensity.normalize():f}"
    return {
        "scale": scale.value,
        "intensity": shown,
        "liking": note.liking,
        "words": ", ".join(note.words),
        "text": note.text,
        "colour": note.colour,
        "picture": note.picture,
    }
