"""Webhooks of a studio: addresses that are told of alerts, with a secret by which they know who tells them."""

from datetime import datetime, timedelta

from django.conf import settings

from studio.actions.history import record
from studio.actions.outbox import announce
from studio.actions.people import refuse_others_than_owners
from studio.kernel.errors import Conflict
from studio.kernel.outward import checked_url
from studio.kernel.secrets import new_nonce, webhook_secret
from studio.kernel.work import work
from studio.models import Member, Studio, Webhook

MOST = 10
OVERLAP = timedelta(hours=24)
"""How long what is sent is signed by the former secret too, after a new one was made."""


class TooManyWebhooks(Conflict):
    """A studio tells at most ten addresses; end one that nobody needs any more."""

    code = "too-many-webhooks"
    title = "Too many webhooks"


class WebhookEnded(Conflict):
    """Nothing is sent to this webhook any more."""

    code = "webhook-ended"
    title = "The webhook has ended"


def add_webhook(*, by: Member, at: datetime, url: str, note: str = "") -> tuple[Webhook, str]:
    """A new webhook and its secret, which is not kept and cannot be shown again.

    Raises `OwnersOnly`, `UnfitAddress`, `TooManyWebhooks`.
    """
    refuse_others_than_owners(by)
    checked_url(url, settings.WEBHOOKS_WITHIN)
    nonce = new_nonce()
    with work():
        Studio.objects.select_for_update(no_key=True).get(pk=by.studio_id)
        if Webhook.objects.of(by.studio_id).filter(ended_at=None).count() >= MOST:
            raise TooManyWebhooks(f"{by.studio} tells {MOST} addresses already; end one of them first.")
        webhook = Webhook.objects.create(
            studio_id=by.studio_id, url=url, note=note, nonce=nonce, by=by, created_at=at
        )
        record(
            by=by, at=at, subject="webhook", name=str(webhook.pk), verb="added", changes={"url": [None, url]}
        )
    return webhook, webhook_secret(nonce)


def renew_secret(*, by: Member, at: datetime, webhook_id: int, why: str = "") -> tuple[Webhook, str]:
    """A new secret, shown this once; for a day everything is signed by the former one as well.

    Raises `OwnersOnly`, `NoSuchThing`, `WebhookEnded`.
    """
    with work():
        webhook = _lock_living(by, webhook_id)
        webhook.former_nonce, webhook.former_until = webhook.nonce, at + OVERLAP
        webhook.nonce = new_nonce()
        webhook.save(update_fields=["nonce", "former_nonce", "former_until"])
        record(by=by, at=at, subject="webhook", name=str(webhook.pk), verb="secret renewed", why=why)
    return webhook, webhook_secret(webhook.nonce)


def end_webhook(*, by: Member, at: datetime, webhook_id: int, why: str = "") -> Webhook:
    """Tell an address nothing more, also not what is on its way. To end it twice is to end it once."""
    refuse_others_than_owners(by)
    with work():
        webhook = _lock(by, webhook_id)
        if webhook.ended_at is None:
            webhook.ended_at = at
            webhook.save(update_fields=["ended_at"])
            record(by=by, at=at, subject="webhook", name=str(webhook.pk), verb="ended", why=why)
    return webhook


def try_webhook(*, by: Member, at: datetime, webhook_id: int, why: str = "") -> Webhook:
    """Send a greeting, so that one sees whether it arrives. Raises `OwnersOnly`, `NoSuchThing`, `WebhookEnded`."""
    with work():
        webhook = _lock_living(by, webhook_id)
        content = {
            "studio": by.studio.name,
            "sentence": f"{by} sent this to see that it arrives.",
            "why": why,
        }
        announce(studio=by.studio_id, at=at, topic="trial", contents=[content], webhooks=[webhook.pk])
    return webhook


def _lock_living(by: Member, webhook_id: int) -> Webhook:
    refuse_others_than_owners(by)
    webhook = _lock(by, webhook_id)
    if webhook.ended_at is not None:
        raise WebhookEnded("This webhook has ended; add it again to send there.")
    return webhook


def _lock(by: Member, webhook_id: int) -> Webhook:
    rows = Webhook.objects.select_for_update(no_key=True, of=("self",))
    webhook: Webhook = rows.one(by.studio_id, "webhook", id=webhook_id)
    return webhook
