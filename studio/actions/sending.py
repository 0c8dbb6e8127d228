"""Sending what is due in the outbox: by mail to members, by POST to webhooks.

A sender takes one delivery at a time under a lease, sends outside of any transaction, and marks what came of it. If it
dies in between, the lease runs out and somebody sends again, under the same id: each event arrives at least once, and
its receiver can drop what it knows. A failed try is repeated after a growing pause, for a day.
"""

import hashlib
import hmac
import json
import logging
import smtplib
from dataclasses import dataclass
from datetime import datetime, timedelta
from time import monotonic
from typing import Any
from uuid import UUID, uuid4

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Q

from studio.kernel.outward import NotTaken, UnfitAddress, post
from studio.kernel.secrets import webhook_secret
from studio.kernel.work import work
from studio.models import Attempt, Delivery, DeliveryState, Webhook

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=2)
"""Longer than one try can take."""
FIRST_PAUSE, LONGEST_PAUSE = timedelta(seconds=30), timedelta(hours=1)
TRIED_FOR = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a try ended; `wanted` is False when there is nobody to send to any more."""

    taken: bool
    words: str
    status: int | None = None
    wanted: bool = True


def send_next(*, at: datetime) -> Delivery | None:
    """Send what is due longest, if anything is; returns it with what came of it."""
    delivery = _take_next(at)
    if delivery is None:
        return None
    began = monotonic()
    outcome = _send(delivery, at)
    took = timedelta(seconds=monotonic() - began)
    _mark(delivery, outcome, at, took)
    return delivery


def pause_after(attempts: int) -> timedelta:
    """How long to wait after so many tries have failed."""
    return min(FIRST_PAUSE * 2 ** min(attempts - 1, 12), LONGEST_PAUSE)


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """HMAC-SHA256 over the timestamp, a full stop and the body, in hexadecimal."""
    return hmac.new(secret.encode(), f"{timestamp}.".encode() + body, hashlib.sha256).hexdigest()


def _take_next(at: datetime) -> Delivery | None:
    free = Q(leased_until=None) | Q(leased_until__lte=at)
    with work():
        rows = Delivery.objects.select_for_update(skip_locked=True, of=("self",))
        delivery = (
            rows.filter(free, state=DeliveryState.WAITING, due_at__lte=at)
            .select_related("event", "member__person", "webhook")
            .order_by("due_at", "id")
            .first()
        )
        if delivery is not None:
            delivery.lease, delivery.leased_until = uuid4(), at + LEASE
            delivery.save(update_fields=["lease", "leased_until"])
    return delivery


def _send(delivery: Delivery, at: datetime) -> Outcome:
    """One try. Whatever goes wrong is an outcome: one delivery that breaks must not hold up the others."""
    try:
        return _mail(delivery) if delivery.webhook is None else _post(delivery, delivery.webhook, at)
    except Exception as error:
        log.exception("A delivery broke down.")
        return Outcome(taken=False, words=f"Sending broke down ({type(error).__name__}).")


def _post(delivery: Delivery, webhook: Webhook, at: datetime) -> Outcome:
    if webhook.ended_at is not None:
        return Outcome(taken=False, words="The webhook has ended.", wanted=False)
    body = delivery.event.body.encode()
    try:
        status = post(
            webhook.url, body, signed_headers(delivery, webhook, body, at), settings.WEBHOOKS_WITHIN
        )
    except UnfitAddress as refusal:
        return Outcome(taken=False, words=refusal.message)
    except NotTaken as reason:
        return Outcome(taken=False, words=str(reason))
    return Outcome(taken=200 <= status < 300, words=f"It answered {status}.", status=status)


def signed_headers(delivery: Delivery, webhook: Webhook, body: bytes, at: datetime) -> dict[str, str]:
    """What goes with the body: which event, when it was sent, and the signature by each secret that is valid."""
    nonces = [webhook.nonce]
    if webhook.former_until is not None and at < webhook.former_until:
        nonces.append(webhook.former_nonce)
    timestamp = int(at.timestamp())
    signatures = [signature(webhook_secret(nonce), timestamp, body) for nonce in nonces]
    return {
        "Content-Type": "application/json; charset=utf-8",
        "User-Agent": "Stillroom",
        "Stillroom-Event": str(delivery.event.uuid),
        "Stillroom-Topic": delivery.event.topic,
        "Stillroom-Timestamp": str(timestamp),
        "Stillroom-Signature": ", ".join(f"sha256={one}" for one in signatures),
    }


def _mail(delivery: Delivery) -> Outcome:
    member = delivery.member
    if member is None or member.left_at is not None or not member.person.is_active:
        return Outcome(taken=False, words="The member has left.", wanted=False)
    content = json.loads(delivery.event.body)
    sender = settings.DEFAULT_FROM_EMAIL
    message = EmailMessage(
        subject=subject_of(content),
        body=text_of(content),
        from_email=sender,
        to=[member.person.email],
        headers={
            "Message-ID": f"<{delivery.event.uuid}.{delivery.pk}@{sender.rpartition('@')[2].strip('>')}>",
            "Auto-Submitted": "auto-generated",
        },
    )
    try:
        message.send()
    except (OSError, smtplib.SMTPException) as error:
        return Outcome(taken=False, words=f"The mail server did not take it ({type(error).__name__}).")
    return Outcome(taken=True, words="Handed to the mail server.")


def subject_of(content: dict[str, Any]) -> str:
    """The subject line of a mail: the one alert's sentence, or how many there are."""
    told = content["alerts"]
    subject = told[0]["sentence"] if content["count"] == 1 else f"{content['count']} alerts"
    return " ".join(f"{content['studio']}: {subject}".split())[:150]


def text_of(content: dict[str, Any]) -> str:
    """The text of a mail: the alerts under how urgent they are, and where to see the rest."""
    heads = {"now": "Now", "soon": "Soon", "later": "When there is time"}
    lines = [content["opening"], ""] if content.get("opening") else []
    for word, head in heads.items():
        sentences = [f"- {alert['sentence']}" for alert in content["alerts"] if alert["urgency"] == word]
        lines += [head, *sentences, ""] if sentences else []
    more = content["count"] - len(content["alerts"])
    lines += [f"And {more} more.", ""] if more > 0 else []
    return "\n".join(
        [*lines, f"All alerts: {settings.ORIGIN}/alerts/", f"What you are mailed: {settings.ORIGIN}/you/"]
    )


def _mark(delivery: Delivery, outcome: Outcome, at: datetime, took: timedelta) -> None:
    """Write down how the try ended, and when to try again."""
    with work():
        now = Delivery.objects.select_for_update(of=("self",)).get(pk=delivery.pk)
        Attempt.objects.create(
            delivery=now,
            at=at,
            took_ms=int(took / timedelta(milliseconds=1)),
            taken=outcome.taken,
            status=outcome.status,
            outcome=outcome.words[:200],
        )
        now.attempts += 1
        if now.state == DeliveryState.WAITING:
            _settle(now, outcome, at + took, delivery.lease)
        now.save(update_fields=["attempts", "state", "due_at", "ended_at", "lease", "leased_until"])
    delivery.state, delivery.attempts, delivery.due_at = now.state, now.attempts, now.due_at


def _settle(delivery: Delivery, outcome: Outcome, at: datetime, lease: UUID | None) -> None:
    again = at + pause_after(delivery.attempts)
    if outcome.taken:
        delivery.state, delivery.ended_at = DeliveryState.TAKEN, at
    elif not outcome.wanted or again > delivery.made_at + TRIED_FOR:
        delivery.state, delivery.ended_at = DeliveryState.GIVEN_UP, at
    elif delivery.lease == lease:
        delivery.due_at = again
        if delivery.webhook_id is not None:
            _let_rest(delivery.webhook_id, again)
    if delivery.lease == lease:
        delivery.lease = delivery.leased_until = None


def _let_rest(webhook: int, until: datetime) -> None:
    """What else waits for a receiver that fails waits too, so that one that hangs does not hold up the others.

    Those that are being sent at this moment are left to whoever sends them.
    """
    waiting = Delivery.objects.filter(
        webhook=webhook, state=DeliveryState.WAITING, lease=None, due_at__lt=until
    )
    waiting.update(due_at=until)
