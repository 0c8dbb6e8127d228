"""Signing in with an e-mail address and a password; guessing is slowed down."""

import time
from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError

from studio.kernel.rate import count

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
