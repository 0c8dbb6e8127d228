"""Reading alerts, who is told of them and how, and what became of it."""

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from functools import cache

from django.conf import settings
from django.db.models import F, QuerySet
from django.utils.module_loading import import_string

from studio.kernel.causes import Cause
from studio.models import Alert, AlertMail, Delivery, MailChoice, Member, Studio, Webhook

Finder = Callable[[Studio, datetime], Sequence[Cause]]


@cache
def finders() -> dict[str, Finder]:
    """By kind of cause, the query that finds what is there of it; `ALERT_CAUSES` in the settings names them, some for several kinds."""
    return {kind: import_string(path) for kind, path in settings.ALERT_CAUSES.items()}


def causes_in(studio: Studio, now: datetime) -> dict[str, list[Cause]]:
    """Every present cause of a studio, by kind; a fixed number of statements."""
    found: dict[str, list[Cause]] = {kind: [] for kind in finders()}
    for find in dict.fromkeys(finders().values()):
        for cause in find(studio, now):
            found[cause.kind].append(cause)
    return found


def open_alerts(studio: Studio) -> list[Alert]:
    """The open alerts of a studio; one statement."""
    return list(Alert.objects.of(studio).open().order_by("id"))


def alerts_of(studio: Studio) -> QuerySet[Alert]:
    """All alerts with who has seen them, closed ones included; one statement."""
    return Alert.objects.of(studio).select_related("quieted_by__person")


def alert_of(studio: Studio, alert_id: int) -> Alert:
    """One of them; raises `NoSuchThing`."""
    rows = Alert.objects.select_related("quieted_by__person")
    alert: Alert = rows.one(studio, "alert", id=alert_id)
    return alert


def alerts_in_state(studio: Studio, state: str) -> QuerySet[Alert]:
    """Those that call out, that were "seen" and are still so, the most urgent first; or that are "over", the last first."""
    rows = alerts_of(studio)
    if state == "over":
        return rows.filter(closed_at__isnull=False).order_by("-closed_at", "-id")
    rows = rows.filter(closed_at__isnull=True, quieted_at__isnull=state != "seen")
    return rows.order_by("urgency", F("due_on").asc(nulls_last=True), "-since", "id")


def mail_choice(member: Member) -> AlertMail:
    """How a member wants to be mailed; the choice everybody has who made none, when there is none. One statement."""
    chosen = AlertMail.objects.filter(member=member).first()
    return chosen or AlertMail(studio_id=member.studio_id, member=member)


def wanting_digest(now: datetime) -> Iterator[Member]:
    """Active members who want a daily mail and have had none today, in studios that have an open alert."""
    members = Member.objects.filter(left_at=None, person__is_active=True).select_related(
        "studio", "person", "alert_mail"
    )
    for member in members.order_by("studio_id", "id"):
        choice: AlertMail | None = getattr(member, "alert_mail", None)
        wants = choice is None or choice.mail == MailChoice.DAILY
        if wants and (choice is None or choice.digest_on is None or choice.digest_on < now.date()):
            yield member


def webhooks_of(studio: Studio) -> QuerySet[Webhook]:
    """The webhooks of a studio, ended ones included; one statement."""
    return Webhook.objects.of(studio).select_related("by__person")


def webhook_of(studio: Studio, webhook_id: int) -> Webhook:
    """One of them; raises `NoSuchThing`."""
    webhook: Webhook = Webhook.objects.select_related("by__person").one(studio, "webhook", id=webhook_id)
    return webhook


def deliveries_of(webhook: Webhook) -> QuerySet[Delivery]:
    """What was, or is, on its way to a webhook, with its event and tries; two statements."""
    return Delivery.objects.filter(webhook=webhook).select_related("event").prefetch_related("tries")
