"""What can be done to a lot, each with a page of its own: draw off, count, discard, hold, release, move."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.actions.counting import count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import hold_lots, hold_with_descendants, release_lot
from inventory.actions.placing import change_lot
from inventory.models import Lot, LotKind
from inventory.pages.forms import CountForm, DiscardForm, DrawOffForm, HoldForm, MoveForm, ReleaseForm
from inventory.queries.finding import lot_at
from inventory.queries.shelf import claims_on, lots_of
from inventory.queries.trace import trace_lot
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once
from studio.pages.tags import grams

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@BOTH
@for_makers
@once
def draw(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Draw some off into a vial."""
    lot = lot_at(lots_of(member.studio), number)
    form = DrawOffForm(member.studio, sent(request))
    if _past_its_day(lot):
        form.fields["expired_reason"].required = True
    else:
        del form.fields["expired_reason"]
    if form.is_valid():
        told = dict(form.cleaned_data)
        mass, reason = told.pop("mass"), told.pop("expired_reason", "")
        kind = LotKind(lot.kind) if told.pop("kind") == "same" else LotKind.VIAL
        with faults_into(form):
            drawn = draw_off(
                by=member,
                now=timezone.now(),
                number=lot.number,
                mass=mass,
                container=Container(kind=kind, **told),
                expired_reason=reason,
            )
    if form.is_valid():
        return done(request, f"{grams(mass)} are in lot {drawn.number} now.", "lot", drawn.number)
    lead = f"{grams(lot.available)} are free of {grams(lot.on_hand)} on hand."
    return _form(request, lot, form, "Draw off", "Draw it off", lead)


@BOTH
@for_makers
@once
def count(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Bring the book to what the balance says."""
    lot = lot_at(lots_of(member.studio), number)
    form = CountForm(sent(request), initial={"tare": lot.tare})
    if form.is_valid():
        told = dict(form.cleaned_data)
        with faults_into(form):
            counted = count_lot(by=member, now=timezone.now(), number=lot.number, **told)
    if form.is_valid():
        difference = counted.found - counted.book
        words = f"{grams(abs(difference))} {'more' if difference > 0 else 'less'} than the book said"
        sentence = f"{grams(counted.found)} are there, {words if difference else 'as the book said'}."
        return done(request, sentence, "lot", lot.number)
    lead = f"By the book there are {grams(lot.on_hand)} in it."
    return _form(request, lot, form, "Count", "Enter the count", lead)


@BOTH
@for_makers
@once
def throw_away(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Discard some of it, or all."""
    lot = lot_at(lots_of(member.studio), number)
    form = DiscardForm(sent(request))
    if not lot.reserved:
        del form.fields["despite_claims"]
    if form.is_valid():
        told = dict(form.cleaned_data)
        with faults_into(form):
            left = discard(by=member, now=timezone.now(), number=lot.number, **told)
    if form.is_valid():
        left.refresh_from_db(fields=["on_hand"])
        return done(request, f"Discarded; {grams(left.on_hand)} are left.", "lot", lot.number)
    lead = f"{grams(lot.on_hand)} are in it. What is discarded stays in the book as discarded."
    return _form(request, lot, form, "Discard", "Discard it", lead)


@BOTH
@for_makers
@once
def hold(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Put it on hold, alone or with all that was made of it."""
    lot = lot_at(lots_of(member.studio), number)
    descendants = [traced.lot.id for traced in trace_lot(lot=lot, direction="forward").lots]
    form = HoldForm(sent(request))
    if not descendants:
        del form.fields["descendants"]
    if form.is_valid():
        told = {"by": member, "now": timezone.now(), "why": form.cleaned_data["why"]}
        with faults_into(form):
            if form.cleaned_data.get("descendants"):
                held = hold_with_descendants(**told, lot_id=lot.pk)
            else:
                held = hold_lots(**told, lot_ids=[lot.pk])
    if form.is_valid():
        others = f" and {len(held) - 1} made of it" if len(held) > 1 else ""
        return done(
            request, f"Lot {lot.number}{others} is on hold: nobody can claim or pour it.", "lot", number
        )
    touched = Lot.objects.of(member.studio).filter(pk__in=[lot.pk, *descendants])
    batches = sorted({standing.claim.purpose for standing in claims_on(touched)})
    made = f"{len(descendants)} lots were made of it" if len(descendants) != 1 else "One lot was made of it"
    claims = f"; open batches that claim any of these: {', '.join(batches)}" if batches else ""
    return _form(request, lot, form, "Put on hold", "Put it on hold", f"{made}{claims}.")


@BOTH
@for_makers
@once
def release(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Take it off hold."""
    lot = lot_at(lots_of(member.studio), number)
    form = ReleaseForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            release_lot(by=member, now=timezone.now(), lot_id=lot.pk, why=form.cleaned_data["why"])
    if form.is_valid():
        return done(request, f"Lot {lot.number} may be used again.", "lot", lot.number)
    lead = f"It is on hold because: {lot.hold_reason}" if lot.hold_reason else "It is not on hold."
    return _form(request, lot, form, "Release", "Release it", lead)


@BOTH
@for_makers
@once
def move(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Put it on another shelf or under another keeper, and mend what is noted of it."""
    lot = lot_at(lots_of(member.studio), number)
    initial = {name: getattr(lot, name) for name in MoveForm.base_fields}
    form = MoveForm(member.studio, sent(request), initial=initial)
    if form.is_valid():
        with faults_into(form):
            change_lot(by=member, now=timezone.now(), lot=lot, changes=form.cleaned_data)
    if form.is_valid():
        return done(request, f"Lot {lot.number} is noted as you said.", "lot", lot.number)
    return _form(request, lot, form, "Move or relabel", "Keep this", "")


def _past_its_day(lot: Lot) -> bool:
    return lot.expires_on is not None and lot.expires_on < timezone.now().date()


def _form(
    request: HttpRequest, lot: Lot, form: forms.Form, heading: str, send: str, lead: str
) -> HttpResponse:
    context: dict[str, Any] = {
        "heading": f"{heading}: {lot.title}",
        "send": send,
        "lead": lead,
        "back": reverse("lot", args=[lot.number]),
        "back_to": lot.number,
        "lot": lot,
    }
    return shown(request, "inventory/handling.html", context, form)
