"""Changing one's password, and setting a new one with a link sent by e-mail when it is forgotten.

The page says the same whether an address is known or not, and sends at most a few links an hour to one address.
"""

import time
from typing import Any

from django.contrib.auth import views
from django.contrib.auth.forms import PasswordResetForm
from django.contrib.messages.views import SuccessMessageMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from studio.actions.passwords import password_was_changed
from studio.kernel.rate import count
from studio.kernel.work import work

LINKS = 3
WINDOW_SECONDS = 3600


class LinkForm(PasswordResetForm):
    """The address a link is sent to."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].label = "E-mail address"

    def get_users(self, email: str) -> Any:
        counted = count(f"link:{email.lower()}", window_seconds=WINDOW_SECONDS, now=time.time())
        return super().get_users(email) if counted.times <= LINKS else []


class ChangePassword(SuccessMessageMixin, views.PasswordChangeView):
    """The page for changing it; every other session of the person ends."""

    template_name = "studio/door.html"
    success_url = reverse_lazy("you")
    success_message = "The password is changed. Wherever else you were signed in, you no longer are."
    extra_context = {"heading": "Change the password", "send": "Change it"}

    def get_form(self, form_class: Any = None) -> Any:
        form = super().get_form(form_class)
        form.fields["old_password"].label = "Present password"
        return _plainly(form)

    def form_valid(self, form: Any) -> HttpResponse:
        with work():
            response = super().form_valid(form)
            password_was_changed(person=form.user, at=timezone.now(), kept=self.request.session.session_key)
        return response


class ForgottenPassword(views.PasswordResetView):
    """Asking for a link."""

    template_name = "studio/door.html"
    form_class = LinkForm
    email_template_name = "studio/password_mail.txt"
    subject_template_name = "studio/password_mail_subject.txt"
    success_url = reverse_lazy("password-sent")
    extra_context = {
        "heading": "Password forgotten",
        "lead": "Give the address you sign in with. A link to set a new password is sent there.",
        "send": "Send the link",
    }


class NewPassword(SuccessMessageMixin, views.PasswordResetConfirmView):
    """Where the link leads."""

    template_name = "studio/door.html"
    success_url = reverse_lazy("sign-in")
    success_message = "The new password is set. Sign in with it."

    def get_form(self, form_class: Any = None) -> Any:
        return _plainly(super().get_form(form_class))

    def form_valid(self, form: Any) -> HttpResponse:
        with work():
            response = super().form_valid(form)
            password_was_changed(person=form.user, at=timezone.now())
        return response

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        if self.validlink:
            return {**context, "heading": "Set a new password", "send": "Set it"}
        return {
            **context,
            "heading": "This link does not lead on",
            "lead": "It was used already, or is too old. Ask for another.",
            "onward": reverse("password-forgotten"),
            "onward_to": "Send another link",
        }


@require_safe
def sent(request: HttpRequest) -> HttpResponse:
    """What is said after asking for a link, whoever asked."""
    context = {
        "heading": "Look at your mail",
        "lead": "If somebody signs in with that address, a link is on its way there. It works once and for three days.",
        "onward": reverse("sign-in"),
        "onward_to": "To the sign-in page",
    }
    return render(request, "studio/door.html", context)


def _plainly(form: Any) -> Any:
    form.fields["new_password1"].label = "New password"
    form.fields["new_password1"].help_text = "At least 12 characters, and none of the usual ones."
    form.fields["new_password2"].label = "New password again"
    form.fields["new_password2"].help_text = ""
    return form
