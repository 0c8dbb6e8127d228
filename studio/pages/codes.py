"""One-time codes on a person's own page: turning them on with a device, off with the password, and recovery codes.

What a device is told and the recovery codes are part of one answer and stand on no page that could be opened again.
"""

from typing import Any

import segno
from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.codes import begin_codes, confirm_codes, end_codes, renew_recovery_codes
from studio.actions.proving import Proof, prove_password
from studio.models import Member
from studio.pages.acting import for_members
from studio.pages.answers import done, faults_into, shown
from studio.pages.fields import Secret, Text
from studio.queries.codes import has_codes, recovery_codes_left


class PasswordForm(forms.Form):
    """The password again."""

    password = Secret(label="Your password")


class FirstCodeForm(forms.Form):
    """The first code of a device."""

    code = Text(
        longest=12,
        label="Code the device shows now",
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"}),
    )


@require_safe
@for_members
def codes(request: HttpRequest, member: Member) -> HttpResponse:
    """Whether one-time codes are on, and what one may do about them."""
    return _page(request, member, PasswordForm())


@require_POST
@for_members
def begin(request: HttpRequest, member: Member) -> HttpResponse:
    """Show a device what it needs, this once."""
    form = PasswordForm(request.POST)
    if form.is_valid():
        with faults_into(form):
            proof = _proof(member, form, "turn one-time codes on")
            told = begin_codes(by=member, at=timezone.now(), proof=proof)
    if not form.is_valid():
        return _page(request, member, form)
    picture = segno.make_qr(told.address, error="m").svg_data_uri(scale=5, border=4, light="#fff")
    return _page(request, member, FirstCodeForm(), stage="device", secret=told.secret, picture=picture)


@require_POST
@for_members
def confirm(request: HttpRequest, member: Member) -> HttpResponse:
    """Turn them on with the device's first code, and show the recovery codes, this once."""
    form = FirstCodeForm(request.POST)
    if form.is_valid():
        with faults_into(form):
            fresh = confirm_codes(
                by=member,
                at=timezone.now(),
                code=form.cleaned_data["code"],
                kept=request.session.session_key,
            )
    if not form.is_valid():
        return _page(request, member, form, stage="device")
    return _page(request, member, PasswordForm(), fresh=fresh)


@require_POST
@for_members
def recovery(request: HttpRequest, member: Member) -> HttpResponse:
    """Show other recovery codes, this once."""
    form = PasswordForm(request.POST)
    if form.is_valid():
        with faults_into(form):
            proof = _proof(member, form, "renew recovery codes")
            fresh = renew_recovery_codes(by=member, at=timezone.now(), proof=proof)
    if not form.is_valid():
        return _page(request, member, form)
    return _page(request, member, PasswordForm(), fresh=fresh)


@require_POST
@for_members
def end(request: HttpRequest, member: Member) -> HttpResponse:
    """Turn them off."""
    form = PasswordForm(request.POST)
    if form.is_valid():
        with faults_into(form):
            proof = _proof(member, form, "turn one-time codes off")
            end_codes(by=member, at=timezone.now(), proof=proof)
    if not form.is_valid():
        return _page(request, member, form)
    return done(request, "You sign in with the password alone from now on.", "codes")


def _proof(member: Member, form: forms.Form, what: str) -> Proof:
    return prove_password(by=member, at=timezone.now(), password=form.cleaned_data["password"], what=what)


def _page(
    request: HttpRequest, member: Member, form: forms.Form, *, stage: str = "", **told: Any
) -> HttpResponse:
    context = {
        "on": has_codes(member.person),
        "left": recovery_codes_left(member.person),
        "stage": stage,
        **told,
    }
    return shown(request, "studio/codes.html", context, form)
