"""The members of a studio as an owner looks after them, and the pages by which somebody new comes in."""

import time
from typing import Any

from django import forms
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.actions.inviting import (
    accept_as_newcomer,
    accept_invitation,
    invitation_behind,
    invite,
    withdraw_invitation,
)
from studio.actions.members import change_role, hand_over_studio, remove_member
from studio.actions.studios import found_studio
from studio.invitation_mail import send_invitation
from studio.kernel.errors import NotFound
from studio.kernel.rate import count
from studio.models import Member, Role
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, on_to, sent, shown
from studio.pages.entering import enter
from studio.pages.faults import refused
from studio.pages.fields import Choice, Text
from studio.pages.once import once
from studio.queries.members import invitations_of, member_of, members_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
ROLES = {
    Role.OWNER: "owner: looks after the studio",
    Role.MAKER: "maker: plans, weighs, receives",
    Role.READER: "reader: looks at everything, changes nothing",
}
FOUNDINGS, WINDOW_SECONDS = 5, 3600


class InviteForm(forms.Form):
    """Somebody to be invited."""

    email = Text(longest=254, label="E-mail address")
    role = Choice([(role.value, words) for role, words in ROLES.items()], label="As", initial=Role.MAKER)


class RoleForm(forms.Form):
    """Another role for a member."""

    role = Choice([(role.value, words) for role, words in ROLES.items()], label="Role")


class RemoveForm(forms.Form):
    """Ending a membership."""

    why = Text(longest=1000, label="Why", required=False)


class _Password(forms.CharField):
    def __init__(self) -> None:
        super().__init__(
            label="Password",
            strip=False,
            widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
            help_text="At least 12 characters, and none of the usual ones.",
            error_messages={"required": "This is needed."},
        )


class NewcomerForm(forms.Form):
    """Somebody who does not sign in here yet."""

    name = Text(longest=120, label="Your name", help_text="It stands beside everything you record.")
    email = Text(longest=254, label="E-mail address", help_text="You sign in with it.")
    password = _Password()


class FoundForm(forms.Form):
    """A new studio and its first owner."""

    studio = Text(longest=120, label="Name of the studio")
    name = Text(longest=120, label="Your name", help_text="It stands beside everything you record.")
    email = Text(longest=254, label="E-mail address", help_text="You sign in with it.")
    password = _Password()


@require_safe
@for_members
def members(request: HttpRequest, member: Member) -> HttpResponse:
    """Who is in the studio, who was, and who is invited."""
    return _members(request, member, InviteForm())


@require_POST
@for_makers
def invite_member(request: HttpRequest, member: Member) -> HttpResponse:
    """Invite somebody and show the link, this once."""
    form = InviteForm(request.POST)
    link = ""
    if form.is_valid():
        with faults_into(form):
            invitation, secret = invite(by=member, at=timezone.now(), **form.cleaned_data)
            link = send_invitation(request, invitation, secret)
    return _members(request, member, InviteForm() if link else form, link=link)


@require_POST
@for_makers
@once
def end_invitation(request: HttpRequest, member: Member, invitation_id: int) -> HttpResponse:
    """Withdraw an invitation."""
    withdraw_invitation(by=member, at=timezone.now(), invitation_id=invitation_id)
    return done(request, "The invitation is withdrawn; its link leads nowhere.", "people")


@BOTH
@for_makers
@once
def role(request: HttpRequest, member: Member, member_id: int) -> HttpResponse:
    """Give a member another role."""
    other = member_of(member.studio, member_id)
    form = RoleForm(sent(request), initial={"role": other.role})
    if form.is_valid():
        with faults_into(form):
            change_role(by=member, at=timezone.now(), member_id=other.pk, **form.cleaned_data)
    if form.is_valid():
        return done(request, f"{other} is {form.cleaned_data['role']} now.", "people")
    return _form(request, form, f"Role of {other}", "Keep this", "Keys that reach further than the role end.")


@BOTH
@for_makers
@once
def remove(request: HttpRequest, member: Member, member_id: int) -> HttpResponse:
    """End somebody's membership."""
    other = member_of(member.studio, member_id)
    form = RemoveForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            remove_member(by=member, at=timezone.now(), member_id=other.pk, **form.cleaned_data)
    if form.is_valid():
        return done(request, f"{other} is no longer in {member.studio}.", "people")
    lead = "What they wrote keeps their name; their keys end at once. Lots they keep stay theirs until an owner moves them."
    return _form(request, form, f"Remove {other}", "Remove them", lead)


@BOTH
@for_makers
@once
def hand_over(request: HttpRequest, member: Member, member_id: int) -> HttpResponse:
    """Make another member owner in one's own place."""
    other = member_of(member.studio, member_id)
    form = forms.Form(sent(request))
    if form.is_valid():
        with faults_into(form):
            hand_over_studio(by=member, at=timezone.now(), member_id=other.pk)
    if form.is_valid():
        return done(request, f"{other} owns {member.studio} now; you are a maker.", "people")
    lead = f"{other} will own {member.studio}, and you will be a maker in it."
    return _form(request, form, f"Hand the studio over to {other}", "Hand it over", lead)


@never_cache
@BOTH
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """Come in by an invitation: as who one is signed in as, or as somebody new."""
    now = timezone.now()
    try:
        invitation = invitation_behind(secret, now)
    except NotFound as refusal:
        return refused(request, refusal)
    lead = f"{invitation.by} invites you as {invitation.role}."
    context: dict[str, Any] = {"heading": f"Come into {invitation.studio}", "lead": lead, "send": "Come in"}
    if request.user.is_authenticated:
        form = forms.Form(sent(request))
        if form.is_valid():
            with faults_into(form):
                member = accept_invitation(person=request.user, at=now, secret=secret)
    else:
        form = NewcomerForm(sent(request), initial={"email": invitation.email})
        context |= {
            "onward": f"{reverse(settings.LOGIN_URL)}?next={request.path}",
            "onward_to": "I sign in here already",
        }
        if form.is_valid():
            with faults_into(form):
                member = accept_as_newcomer(at=now, secret=secret, **form.cleaned_data)
    if not form.is_valid():
        return shown(request, "studio/door.html", context, form)
    return _enter(request, member)


@never_cache
@BOTH
def found(request: HttpRequest) -> HttpResponse:
    """Found a studio, where the operator lets anybody do so."""
    if not settings.OPEN_TO_NEW_STUDIOS:
        raise Http404
    form = FoundForm(sent(request))
    if form.is_valid() and _too_many(request):
        form.add_error(None, "Too many studios were founded from here within an hour. Wait a while.")
    if form.is_valid():
        told = form.cleaned_data
        with faults_into(form):
            member = found_studio(
                name=told["studio"],
                owner_name=told["name"],
                email=told["email"],
                password=told["password"],
                at=timezone.now(),
            )
    if not form.is_valid():
        context = {
            "heading": "Found a studio",
            "lead": "It starts empty and is yours; colleagues come in by invitation.",
            "send": "Found it",
        }
        return shown(request, "studio/door.html", context, form)
    return _enter(request, member)


def _too_many(request: HttpRequest) -> bool:
    origin = request.META.get("REMOTE_ADDR", "")
    return count(f"found:{origin}", window_seconds=WINDOW_SECONDS, now=time.time()).times > FOUNDINGS


def _enter(request: HttpRequest, member: Member) -> HttpResponse:
    """On to the first page as this member, signed in."""
    if not request.user.is_authenticated:
        enter(request, member.person)
    request.session["member"] = member.pk
    return on_to("home")


def _members(request: HttpRequest, member: Member, form: InviteForm, *, link: str = "") -> HttpResponse:
    people = list(members_of(member.studio).order_by("person__name", "id"))
    context = {
        "here": [one for one in people if one.left_at is None],
        "gone": [one for one in people if one.left_at is not None],
        "invitations": list(invitations_of(member.studio).filter(ended_at=None).order_by("-id")),
        "now": timezone.now(),
        "link": link,
        "owns": member.role == Role.OWNER,
    }
    return shown(request, "studio/members.html", context, form)


def _form(request: HttpRequest, form: forms.Form, heading: str, send: str, lead: str) -> HttpResponse:
    context = {
        "heading": heading,
        "send": send,
        "lead": lead,
        "back": reverse("people"),
        "back_to": "Members",
    }
    return shown(request, "studio/form.html", context, form)
