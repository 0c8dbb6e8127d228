"""The outbox: what is to be told to somebody outside, written in the transaction of what it tells about.

An event has an id that stays the same however often it is sent, so that its receiver can drop repeats. For each
receiver there is one delivery, which is due until it has been taken or a day has passed; every try is kept.
"""

from uuid import uuid4

from django.db import models
from django.db.models import Q

from studio.models.scoped import Scoped


class Event(Scoped):
    """Something that happened, in the very words in which it is told."""

    uuid = models.UUIDField(default=uuid4, unique=True)
    topic = models.CharField(max_length=40)
    at = models.DateTimeField()
    body = models.TextField(help_text="JSON, sent as it stands.")

    class Meta:
        indexes = [models.Index(fields=["at"], name="event_age")]

    def __str__(self) -> str:
        return f"{self.topic} {self.uuid}"


class Webhook(Scoped):
    """An address that wants to be told. Its secret is reckoned from the nonce and the service's key, and kept nowhere."""

    url = models.URLField(max_length=500)
    note = models.CharField(max_length=120, blank=True)
    nonce = models.CharField(max_length=64)
    former_nonce = models.CharField(max_length=64, blank=True)
    former_until = models.DateTimeField(
        null=True, help_text="Until when the secret before is signed with too."
    )
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(former_nonce="", former_until__isnull=True)
                | (~Q(former_nonce="") & Q(former_until__isnull=False)),
                name="webhook_former_secret_ends",
            )
        ]

    def __str__(self) -> str:
        return self.url


class DeliveryState(models.TextChoices):
    WAITING = "waiting"
    TAKEN = "taken"
    GIVEN_UP = "given up"


class Delivery(Scoped):
    """One event on its way to one receiver: a member by mail, or a webhook.

    Whoever sends it holds a lease; when that runs out unmarked, the sender is taken for dead and it is due again.
    """

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="deliveries")
    member = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    webhook = models.ForeignKey(Webhook, on_delete=models.PROTECT, null=True, related_name="deliveries")
    state = models.CharField(max_length=10, choices=DeliveryState, default=DeliveryState.WAITING)
    made_at = models.DateTimeField()
    due_at = models.DateTimeField()
    lease = models.UUIDField(null=True)
    leased_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["event", "member"], name="delivery_once_per_member"),
            models.UniqueConstraint(fields=["event", "webhook"], name="delivery_once_per_webhook"),
            models.CheckConstraint(
                condition=Q(member__isnull=True, webhook__isnull=False)
                | Q(member__isnull=False, webhook__isnull=True),
                name="delivery_has_one_receiver",
            ),
            models.CheckConstraint(condition=Q(state__in=DeliveryState.values), name="delivery_state_known"),
            models.CheckConstraint(
                condition=Q(state=DeliveryState.WAITING, ended_at__isnull=True)
                | (~Q(state=DeliveryState.WAITING) & Q(ended_at__isnull=False)),
                name="delivery_ends_when_not_waiting",
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_at", "id"], condition=Q(state=DeliveryState.WAITING), name="deliveries_due"
            ),
            models.Index(fields=["webhook", "-id"], name="deliveries_of_webhook"),
        ]

    def __str__(self) -> str:
        return f"{self.event_id} to {self.member_id or self.webhook_id}: {self.state}"


class Attempt(models.Model):
    """One try of a delivery, and how it ended. What a receiver answered beyond its status is not kept."""

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="tries")
    at = models.DateTimeField()
    took_ms = models.PositiveIntegerField()
    taken = models.BooleanField()
    status = models.PositiveSmallIntegerField(null=True)
    outcome = models.CharField(max_length=200)

    class Meta:
        indexes = [models.Index(fields=["delivery", "id"], name="tries_of_delivery")]

    def __str__(self) -> str:
        return self.outcome
