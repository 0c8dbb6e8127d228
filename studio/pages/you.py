"""A person's own page: as whom they act and in which studio, their password, and their keys for the API."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.keys import issue_key, revoke_key
from studio.actions.leaving import leave_studio
from studio.actions.telling import choose_mail
from studio.kernel.errors import NotFound
from studio.models import MailChoice, Member, Scope
from studio.pages.acting import for_members
from studio.pages.answers import done, faults_into, shown
from studio.pages.fields import Choice, Text
from studio.pages.once import once
from studio.queries.alerts import mail_choice
from studio.queries.members import keys_of, memberships_of

MAILED = {
    MailChoice.AT_ONCE: "You are mailed about each alert at once.",
    MailChoice.DAILY: "You are mailed once a day, if anything calls out.",
    MailChoice.NEVER: "You are not mailed about alerts.",
}
SCOPES = {Scope.READ: "read", Scope.WRITE: "read and write", Scope.ADMIN: "all that an owner may"}


class KeyForm(forms.Form):
    """A key to be issued."""

    name = Text(longest=80, label="What will use it")
    scope = Choice([(scope.value, SCOPES[scope]) for scope in Scope], initial=Scope.WRITE, label="It may")


class AlertMailForm(forms.Form):
    """How to be mailed about alerts."""

    mail = Choice(MailChoice.choices, label="Mail comes")


@require_safe
@for_members
def you(request: HttpRequest, member: Member) -> HttpResponse:
    """Studio, member, keys, and where to read on."""
    return _page(request, member, KeyForm())


@require_POST
@for_members
def new_key(request: HttpRequest, member: Member) -> HttpResponse:
    """Issue a key and show its secret, this once."""
    form = KeyForm(request.POST)
    secret = ""
    if form.is_valid():
        with faults_into(form):
            _, secret = issue_key(by=member, at=timezone.now(), **form.cleaned_data)
    return _page(request, member, KeyForm() if secret else form, secret=secret)


@require_POST
@for_members
def end_key(request: HttpRequest, member: Member, key_id: int) -> HttpResponse:
    """Revoke a key."""
    revoke_key(by=member, at=timezone.now(), key_id=key_id)
    return done(request, "The key is revoked; nothing gets in with it any more.", "you")


@require_POST
@for_members
def choose_alert_mail(request: HttpRequest, member: Member) -> HttpResponse:
    """Choose how one is mailed about alerts."""
    form = AlertMailForm(request.POST)
    if form.is_valid():
        choose_mail(by=member, **form.cleaned_data)
        return done(request, MAILED[form.cleaned_data["mail"]], "you")
    return _page(request, member, KeyForm())


@require_POST
@for_members
def choose_studio(request: HttpRequest, member: Member, member_id: int) -> HttpResponse:
    """Act in another of one's studios from now on."""
    mine = {own.pk: own for own in memberships_of(member.person)}
    if member_id not in mine:
        raise NotFound("You are not a member of that studio.")
    request.session["member"] = member_id
    return done(request, f"You are in {mine[member_id].studio} now.", "home")


@require_POST
@for_members
@once
def leave(request: HttpRequest, member: Member) -> HttpResponse:
    """Leave the studio one acts in."""
    leave_studio(by=member, at=timezone.now())
    request.session.pop("member", None)
    return done(request, f"You have left {member.studio}.", "home")


def _page(request: HttpRequest, member: Member, form: KeyForm, *, secret: str = "") -> HttpResponse:
    context = {
        "keys": [key for key in keys_of(member) if key.revoked_at is None],
        "memberships": memberships_of(member.person),
        "secret": secret,
        "mail_form": AlertMailForm(initial={"mail": mail_choice(member).mail}),
        "now": timezone.now(),
        "origin": f"{request.scheme}://{request.get_host()}",
    }
    return shown(request, "studio/you.html", context, form)
