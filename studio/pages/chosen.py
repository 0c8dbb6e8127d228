"""What a studio has chosen for itself, as its owners look after it: name, tolerances, days, and who checks whom."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from studio.actions.people import refuse_others_than_owners
from studio.actions.studios import choose_figures
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.fields import Percent, Text, Whole, YesNo
from studio.pages.once import once
from studio.pages.tags import plain

TOLERANCES = ("weighing_tolerance", "strength_tolerance")


class StudioForm(forms.Form):
    """The studio's choices; `edition` is the one they were read in."""

    edition = forms.IntegerField(widget=forms.HiddenInput)
    name = Text(longest=120, label="Name of the studio")
    currency = Text(longest=3, label="Currency", help_text="Its three capital letters.")
    weighing_tolerance = Percent(
        label="Tolerance of a weighing", help_text="In percent of the target; beyond it a line is too much."
    )
    strength_tolerance = Percent(
        label="Tolerance of a strength",
        help_text="In percent; a made lot that differs more from what was declared asks for a decision.",
    )
    claim_days = Whole(
        least=1,
        most=3650,
        label="Days a claim waits",
        help_text="Without a weighing, what is reserved is let go then.",
    )
    document_days = Whole(least=1, most=3650, label="Days a paper is kept")
    two_person_check = YesNo(
        label="Two people for every batch",
        help_text="A batch is released only when somebody who did not weigh it has signed it as checked.",
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_makers
@once
def chosen(request: HttpRequest, member: Member) -> HttpResponse:
    """Look at the studio's choices and change them."""
    refuse_others_than_owners(member)
    studio = member.studio
    as_it_is: dict[str, Any] = {name: getattr(studio, name) for name in StudioForm.base_fields}
    as_it_is |= {name: plain(as_it_is[name] * 100) for name in TOLERANCES}
    form = StudioForm(sent(request), initial=as_it_is)
    if form.is_valid():
        changes = {**form.cleaned_data}
        with faults_into(form):
            choose_figures(by=member, at=timezone.now(), expected=changes.pop("edition"), changes=changes)
    if form.is_valid():
        return done(request, "This holds from now on.", "people")
    context = {
        "heading": "What the studio has chosen",
        "lead": "It holds for what is weighed, closed and signed from now on. Each change stands in the history.",
        "send": "Keep this",
        "back": reverse("people"),
        "back_to": "Members",
    }
    return shown(request, "studio/form.html", context, form)
