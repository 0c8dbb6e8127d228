"""The sealed record of a batch on its page: signing it, and amending it."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from batches.actions.amending import Correction, amend_batch
from batches.actions.signing import sign_batch
from batches.pages.batch import batch_number
from batches.queries.batches import batches_of
from batches.queries.record_places import places_of
from batches.queries.records import batch_record, meanings_open_to
from studio.actions.proving import Proof, prove_password
from studio.models import Meaning, Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.fields import Choice, Secret, Text
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MEANINGS = {
    Meaning.WEIGHED: "weighed: I weighed it, and the record says what I weighed",
    Meaning.CHECKED: "checked: I read the record, and it is right",
    Meaning.RELEASED: "released: it may be used",
}


class SignForm(forms.Form):
    """A signature, with the password entered again."""

    seal = forms.CharField(widget=forms.HiddenInput, max_length=64)
    meaning = Choice([], label="What you say of it")
    password = Secret(label="Your password, again")

    def __init__(self, *args: Any, offered: list[Meaning], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["meaning"].choices = [(meaning.value, MEANINGS[meaning]) for meaning in offered]  # type: ignore[attr-defined]


class AmendForm(forms.Form):
    """One correction, or none, and why."""

    seal = forms.CharField(widget=forms.HiddenInput, max_length=64)
    where = Choice([], label="What is corrected", required=False)
    says = Text(longest=4000, label="What it ought to say", required=False)
    why = Text(longest=1000, lines=True, label="Why")

    def __init__(self, *args: Any, places: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["where"].choices = [("", "nothing: only a remark"), *places]  # type: ignore[attr-defined]

    @property
    def corrections(self) -> list[Correction]:
        told = self.cleaned_data
        return [Correction(where=told["where"], says=told["says"])] if told["where"] else []


@BOTH
@for_makers
def sign(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Sign the record; the password is proved before the work begins, so that a wrong one stays noted."""
    number = batch_number(number)
    batch = batches_of(member.studio).one(member.studio, "batch", number=number)
    seen = batch_record(studio=member.studio, number=number)
    offered = meanings_open_to(member=member, batch=batch, seen=seen)
    form = SignForm(sent(request), offered=offered, initial={"seal": seen.seal})
    if form.is_valid():
        with faults_into(form):
            proof = prove_password(
                by=member,
                at=timezone.now(),
                password=form.cleaned_data["password"],
                what=f"sign batch {number}",
            )
    if form.is_valid():
        response = _signed(request, member, number, form, proof)
        if form.is_valid():
            return response
    context = {
        "heading": f"Sign the record of {batch.title}",
        "lead": f"{member} signs record {seen.sequence} with today’s date and time. A signature is sealed like the record; "
        "it cannot be taken back."
        if offered
        else "There is nothing you could say of this record now: you have said it, or somebody else has to come first.",
        "send": "Sign",
        "offered": offered,
        "back": reverse("batch", args=[number]),
        "back_to": f"Batch {number}",
    }
    return shown(request, "batches/sign.html", context, form)


@once
def _signed(request: HttpRequest, member: Member, number: str, form: SignForm, proof: Proof) -> HttpResponse:
    meaning = Meaning(form.cleaned_data["meaning"])
    with faults_into(form):
        sign_batch(
            by=member,
            at=timezone.now(),
            proof=proof,
            number=number,
            seal=form.cleaned_data["seal"],
            meaning=meaning,
        )
    if not form.is_valid():
        return HttpResponse(status=422)
    return done(request, f"The record of {number} is signed as {meaning}.", "batch", number)


@BOTH
@for_makers
@once
def amend(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Amend the record: what it ought to have said, and why."""
    number = batch_number(number)
    seen = batch_record(studio=member.studio, number=number)
    form = AmendForm(sent(request), places=places_of(seen.record), initial={"seal": seen.seal})
    if form.is_valid():
        with faults_into(form):
            amend_batch(
                by=member,
                at=timezone.now(),
                number=number,
                seal=form.cleaned_data["seal"],
                why=form.cleaned_data["why"],
                corrections=form.corrections,
            )
    if form.is_valid():
        return done(request, f"The record of {number} is amended; the one before stays.", "batch", number)
    context = {
        "heading": f"Amend the record of {number}",
        "lead": "The record as it was sealed stays. A new one is sealed that names it, corrects it, and says why. What a "
        "container holds is not changed by this: count it.",
        "send": "Seal the amendment",
        "back": reverse("batch", args=[number]),
        "back_to": f"Batch {number}",
    }
    return shown(request, "studio/form.html", context, form)
