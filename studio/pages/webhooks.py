"""Webhooks: where a studio's alerts are sent to, what became of what was sent, and new secrets. For owners."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.people import refuse_others_than_owners
from studio.actions.webhooks import add_webhook, end_webhook, renew_secret, try_webhook
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, shown
from studio.pages.fields import Text
from studio.pages.listing import Listing
from studio.pages.once import once
from studio.queries.alerts import deliveries_of, webhook_of, webhooks_of


class WebhookForm(forms.Form):
    """An address to be told."""

    url = Text(longest=500, label="Address", help_text="Of the form https://example.org/path.")
    note = Text(longest=120, label="What listens there", required=False)


@require_safe
@for_makers
def webhooks(request: HttpRequest, member: Member) -> HttpResponse:
    """The webhooks that are told, and a form for another."""
    return _page(request, member, WebhookForm())


@require_POST
@for_makers
def new_webhook(request: HttpRequest, member: Member) -> HttpResponse:
    """Add a webhook and show its secret, this once."""
    form = WebhookForm(request.POST)
    secret = ""
    if form.is_valid():
        with faults_into(form):
            _, secret = add_webhook(by=member, at=timezone.now(), **form.cleaned_data)
    return _page(request, member, WebhookForm() if secret else form, secret=secret)


@require_POST
@for_makers
def renew(request: HttpRequest, member: Member, webhook_id: int) -> HttpResponse:
    """Make a new secret and show it, this once."""
    _, secret = renew_secret(by=member, at=timezone.now(), webhook_id=webhook_id)
    return _page(request, member, WebhookForm(), secret=secret)


@require_POST
@for_makers
@once
def try_it(request: HttpRequest, member: Member, webhook_id: int) -> HttpResponse:
    """Send something, to see whether it arrives."""
    try_webhook(by=member, at=timezone.now(), webhook_id=webhook_id)
    return done(request, "It is on its way; below is what becomes of it.", "webhook-log", webhook_id)


@require_POST
@for_makers
@once
def end(request: HttpRequest, member: Member, webhook_id: int) -> HttpResponse:
    """End a webhook."""
    end_webhook(by=member, at=timezone.now(), webhook_id=webhook_id)
    return done(request, "Nothing is sent there any more.", "webhooks")


@require_safe
@for_makers
def deliveries(request: HttpRequest, member: Member, webhook_id: int) -> HttpResponse:
    """What was sent to a webhook, with every try."""
    refuse_others_than_owners(member)
    webhook = webhook_of(member.studio, webhook_id)
    rows = deliveries_of(webhook).order_by("-id")
    context = {"webhook": webhook, "listing": Listing.of(rows, request)}
    return shown(request, "studio/deliveries.html", context)


def _page(request: HttpRequest, member: Member, form: WebhookForm, *, secret: str = "") -> HttpResponse:
    refuse_others_than_owners(member)
    rows = webhooks_of(member.studio).filter(ended_at=None).order_by("id")
    context = {"webhooks": list(rows), "secret": secret, "now": timezone.now()}
    return shown(request, "studio/webhooks.html", context, form)
