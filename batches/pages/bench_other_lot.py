"""Going on with another lot at the bench, when a bottle turns out empty, broken or on hold."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from batches.actions.weigh_plans import take_other_lot
from batches.pages.bench import batch_number
from batches.queries.batches import batch_in_hand
from batches.queries.planned import OtherLot, lots_for
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.fields import Choice, Text
from studio.pages.once import once
from studio.pages.tags import grams, percent


class OtherLotForm(forms.Form):
    """Which lot the rest of a line is poured from."""

    lot = Choice([], widget=forms.RadioSelect, label="Lot")
    expired_reason = Text(
        longest=1000,
        required=False,
        label="Why an expired lot may be used",
        help_text="It stands in the record.",
    )

    def __init__(self, *args: Any, lots: Sequence[OtherLot], **told: Any) -> None:
        super().__init__(*args, **told)
        self.fields["lot"].choices = [(one.lot.number, _words(one)) for one in lots]  # type: ignore[attr-defined]
        self.expired = {one.lot.number for one in lots if one.why_not}
        if not self.expired:
            del self.fields["expired_reason"]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if told.get("lot") in self.expired and not told.get("expired_reason"):
            self.add_error("expired_reason", "This lot has expired; say why it may be used all the same.")
        return told


@require_http_methods(["GET", "HEAD", "POST"])
@for_makers
@once
def other_lot(request: HttpRequest, member: Member, number: str, position: int) -> HttpResponse:
    """Pour what is left of a line from another lot of its material."""
    number, now = batch_number(number), timezone.now()
    hand = batch_in_hand(studio=member.studio, number=number)
    pour = next((one for one in hand.lines if one.line.position == position), None)
    if pour is None:
        raise NoSuchThing(f"Batch {number} has no line {position}.")
    lots = lots_for(batch=hand.batch, line=pour.line, on=now.date())
    poured = pour.line.material or pour.line.lot
    form = OtherLotForm(sent(request), lots=lots)
    if form.is_valid():
        with faults_into(form):
            take_other_lot(by=member, now=now, number=number, position=position, **form.cleaned_data)
    bench = f"{reverse('bench', args=[number])}?line={position}"
    if form.is_valid():
        return done(request, f"Line {position} goes on with lot {form.cleaned_data['lot']}.", bench)
    context = {
        "heading": f"Another lot for line {position}",
        "lead": f"{poured}: {grams(pour.weighed)} of {grams(pour.line.target)} weighed so far. What is left "
        f"was to come from {pour.line.lot.number}; it is fitted to the strength of the lot you take."
        if lots
        else f"No other lot of {poured} stands on the shelf with something in it.",
        "lots": lots,
        "send": "Go on with this lot",
        "back": bench,
        "back_to": "Bench",
    }
    return shown(request, "batches/bench_other_lot.html", context, form)


def _words(one: OtherLot) -> str:
    lot = one.lot
    told = f"{lot.number} · {percent(lot.strength)} · {grams(lot.available)} free"
    return f"{told} · {one.why_not}" if one.why_not else told
