"""Asking, answering, lending and bringing back, and the page of the team that shows who has what."""

from datetime import timedelta
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.actions.asking import ask_keeper, decline_request, grant_request, withdraw_request
from inventory.actions.drawing_off import Container
from inventory.actions.lending import lend, take_back
from inventory.models import Loan, LotKind, LotRequest, Wish
from inventory.pages.sharing_forms import (
    AskForm,
    DeclineForm,
    GrantClaimForm,
    GrantForm,
    GrantLoanForm,
    LendForm,
    TakeBackForm,
)
from inventory.queries.finding import lot_at
from inventory.queries.sharing import (
    asked_by,
    holdings,
    loans_of,
    open_loans,
    overdue,
    requests_of,
    to_answer,
    uses,
)
from inventory.queries.shelf import lots_of
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once
from studio.pages.tags import grams
from studio.queries.members import members_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
LATELY = timedelta(days=30)


@require_safe
@for_members
def team(request: HttpRequest, member: Member) -> HttpResponse:
    """Members, what they ask of each other, who has what, and who used whose."""
    now = timezone.now()
    loans = open_loans(member.studio)
    late = {loan.pk for loan in overdue(loans, now.date())}
    people = list(members_of(member.studio).filter(left_at=None).order_by("person__name", "id"))
    context = {
        "to_answer": to_answer(member) if member.may_write else [],
        "asked": asked_by(member, since=now - LATELY),
        "loans": [(loan, loan.pk in late) for loan in loans],
        "holdings": holdings(member.studio, people),
        "uses": uses(member.studio, now),
    }
    return shown(request, "inventory/team.html", context)


@BOTH
@for_makers
@once
def ask(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Ask the keeper of a lot."""
    lot = lot_at(lots_of(member.studio), number)
    form = AskForm(sent(request))
    if form.is_valid():
        told = dict(form.cleaned_data)
        with faults_into(form):
            ask_keeper(by=member, now=timezone.now(), lot=lot, wish=Wish(told.pop("wish")), **told)
    if form.is_valid():
        return done(request, f"{lot.keeper} was asked; the answer stands on the page of the team.", "team")
    lead = f"{lot.keeper or 'The studio'} keeps it; {grams(lot.available)} are free of {grams(lot.on_hand)} on hand."
    return _form(
        request, form, f"Ask for {lot.title}", "Ask", lead, reverse("lot", args=[lot.number]), lot.number
    )


@BOTH
@for_makers
@once
def grant(request: HttpRequest, member: Member, request_id: int) -> HttpResponse:
    """Grant a request, all of it or part."""
    asked = _request(member, request_id)
    form = _grant_form(member, asked, sent(request))
    if form.is_valid():
        told = dict(form.cleaned_data)
        drawn = {name: told.pop(name) for name in ("tare", "shelf") if name in told}
        with faults_into(form):
            granted = grant_request(
                by=member,
                now=timezone.now(),
                request_id=asked.pk,
                container=Container(kind=LotKind(asked.lot.kind), **drawn),
                **told,
            )
    if form.is_valid():
        return done(request, _granted(granted), "team")
    word = f" “{asked.word}”" if asked.word else ""
    return _form(
        request, form, f"{asked.asker} asks for {wanted(asked)}", "Grant it", f"{_about(asked)}{word}"
    )


@BOTH
@for_makers
@once
def decline(request: HttpRequest, member: Member, request_id: int) -> HttpResponse:
    """Decline a request, with a word."""
    asked = _request(member, request_id)
    form = DeclineForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            decline_request(by=member, now=timezone.now(), request_id=asked.pk, **form.cleaned_data)
    if form.is_valid():
        return done(request, f"{asked.asker} is told.", "team")
    return _form(request, form, f"Decline: {asked.asker} asks for {wanted(asked)}", "Decline", _about(asked))


@require_POST
@for_makers
@once
def withdraw(request: HttpRequest, member: Member, request_id: int) -> HttpResponse:
    """Take one's own request back."""
    withdraw_request(by=member, now=timezone.now(), request_id=request_id)
    return done(request, "Your request is withdrawn.", "team")


@BOTH
@for_makers
@once
def lend_lot(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Give a lot into somebody's hands until a day."""
    lot = lot_at(lots_of(member.studio), number)
    form = LendForm(member.studio, sent(request))
    if form.is_valid():
        told = form.cleaned_data
        with faults_into(form):
            lend(by=member, now=timezone.now(), lot=lot, to=told["to"], due_on=told["until"])
    if form.is_valid():
        return done(request, f"{told['to']} has lot {lot.number} until {told['until']}.", "lot", lot.number)
    lead = f"{grams(lot.on_hand)} are in it. It is weighed when it comes back."
    return _form(
        request, form, f"Lend: {lot.title}", "Lend it", lead, reverse("lot", args=[lot.number]), lot.number
    )


@BOTH
@for_makers
@once
def bring_back(request: HttpRequest, member: Member, loan_id: int) -> HttpResponse:
    """Weigh a lent lot back."""
    loan: Loan = loans_of(member.studio).one(member.studio, "loan", id=loan_id)
    form = TakeBackForm(sent(request), initial={"tare": loan.lot.tare})
    if form.is_valid():
        with faults_into(form):
            ended = take_back(by=member, now=timezone.now(), loan_id=loan.pk, **form.cleaned_data)
    if form.is_valid():
        sentence = f"{grams(ended.mass_back)} came back of {grams(ended.mass_out)}."
        return done(request, sentence, "lot", loan.lot.number)
    lead = f"{loan.borrower} took it with {grams(loan.mass_out)} in it; what is missing is booked as used."
    return _form(request, form, f"Back on the shelf: {loan.lot.title}", "It is back", lead)


def wanted(asked: LotRequest) -> str:
    """What a request is for, in words."""
    if asked.wish == Wish.LOAN:
        return f"{asked.lot.title} until {asked.until}"
    batch = f" for batch {asked.purpose}" if asked.purpose else ""
    return f"{grams(asked.mass)} of {asked.lot.title}{batch}"


def _granted(request: LotRequest) -> str:
    if request.given is not None:
        return f"Hand it over: {request.asker} has lot {request.given.number} with {grams(request.granted_mass)}."
    if request.wish == Wish.LOAN:
        return f"{request.asker} has lot {request.lot.number} now."
    return f"Batch {request.purpose} may claim {grams(request.granted_mass)} of lot {request.lot.number}."


def _about(asked: LotRequest) -> str:
    lot = asked.lot
    return f"Lot {lot.number}: {grams(lot.available)} are free of {grams(lot.on_hand)} on hand."


def _grant_form(member: Member, asked: LotRequest, sent: Any) -> forms.Form:
    if asked.wish == Wish.LOAN:
        return GrantLoanForm(sent, initial={"until": asked.until})
    if asked.wish == Wish.CLAIM:
        return GrantClaimForm(sent, initial={"mass": asked.mass})
    form = GrantForm(member.studio, sent, initial={"mass": asked.mass})
    if not (asked.lot.expires_on and asked.lot.expires_on < timezone.now().date()):
        del form.fields["expired_reason"]
    return form


def _request(member: Member, request_id: int) -> LotRequest:
    return requests_of(member.studio).one(member.studio, "request", id=request_id)


def _form(
    request: HttpRequest,
    form: forms.Form,
    heading: str,
    send: str,
    lead: str,
    back: str = "",
    back_to: str = "",
) -> HttpResponse:
    context = {
        "heading": heading,
        "send": send,
        "lead": lead,
        "back": back or reverse("team"),
        "back_to": back_to or "Team",
    }
    return shown(request, "studio/form.html", context, form)
