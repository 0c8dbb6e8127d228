"""The mail of an invitation. It is sent at the edge, after the invitation is written, like a link to a new password.

When the mail cannot be sent the invitation stands all the same: the link is shown to the owner, who can hand it over.
"""

import logging
from smtplib import SMTPException

from django.core.mail import send_mail
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse

from studio.models import Invitation

log = logging.getLogger(__name__)


def send_invitation(request: HttpRequest, invitation: Invitation, secret: str) -> str:
    """Mail the link to whom it is for; returns the link."""
    link = request.build_absolute_uri(reverse("join", args=[secret]))
    told = {"invitation": invitation, "link": link}
    try:
        send_mail(
            subject=f"An invitation into {invitation.by.studio.name}".replace("\n", " "),
            message=render_to_string("studio/invitation_mail.txt", told),
            from_email=None,
            recipient_list=[invitation.email],
        )
    except (OSError, SMTPException):
        log.exception("The mail of an invitation could not be sent.")
    return link
