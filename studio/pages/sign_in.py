"""Signing in with an e-mail address and a password, and with a one-time code where somebody has asked for that.

Guessing is slowed down.
"""

import time
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from studio.actions.codes import pass_code
from studio.kernel.rate import count
from studio.pages.answers import faults_into, on_to, sent, shown
from studio.pages.entering import await_code, awaited, enter
from studio.pages.fields import Text
from studio.queries.codes import has_codes

TRIES = 10
WINDOW_SECONDS = 900


class SignInForm(AuthenticationForm):
    """The form, counting tries per address: after `TRIES` of them even the right password has to wait."""

    error_messages = {
        "invalid_login": "This address and password do not belong together. Check both.",
        "inactive": "This account is closed.",
        "waiting": "Too many tries for this address. Wait %(minutes)s minutes.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail address"
        self.fields["username"].widget.attrs.update(type="email", autocomplete="username")

    def clean(self) -> dict[str, Any]:
        address = str(self.cleaned_data.get("username", "")).strip().lower()
        self.cleaned_data["username"] = address
        counted = count(f"sign-in:{address}", window_seconds=WINDOW_SECONDS, now=time.time())
        if counted.times > TRIES:
            minutes = -(-counted.seconds_left // 60)
            raise ValidationError(self.error_messages["waiting"], code="waiting", params={"minutes": minutes})
        return super().clean()


class SignIn(LoginView):
    """The page."""

    template_name = "studio/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    extra_context = {"open": settings.OPEN_TO_NEW_STUDIOS}

    def form_valid(self, form: Any) -> HttpResponse:
        person = form.get_user()
        if has_codes(person):
            await_code(self.request, person, self.get_redirect_url())
            return on_to("sign-in-code")
        enter(self.request, person)
        return super(LoginView, self).form_valid(form)


class CodeForm(forms.Form):
    """A one-time code, or a recovery code in its place."""

    code = Text(
        longest=40,
        label="Code",
        help_text="The six digits your device shows, or one of your recovery codes.",
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "spellcheck": "false", "autofocus": True}
        ),
    )


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The step after the password, for who has turned one-time codes on."""
    expected = awaited(request)
    if expected is None:
        messages.info(request, "Sign in with address and password first.")
        return on_to("sign-in")
    form = CodeForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            pass_code(person=expected.person, at=timezone.now(), code=form.cleaned_data["code"])
    if form.is_valid():
        enter(request, expected.person)
        return on_to(expected.onward)
    context = {
        "heading": "And the code",
        "send": "Sign in",
        "onward": reverse("sign-in"),
        "onward_to": "Sign in as somebody else",
    }
    return shown(request, "studio/door.html", context, form)
