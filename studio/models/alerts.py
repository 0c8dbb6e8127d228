"""Alerts: what wants somebody's attention, one row per cause for as long as the cause is there.

What the causes are is known upstairs; here a cause is a kind and a key. While an alert is open no second one of its
kind and key can be written; when the cause is gone it is closed and kept.
"""

from typing import Self

from django.db import models
from django.db.models import Q

from studio.kernel.causes import Urgency
from studio.models.scoped import Scoped, ScopedQuerySet


class AlertQuerySet(ScopedQuerySet):
    def open(self) -> Self:
        """Those whose cause is still there."""
        return self.filter(closed_at__isnull=True)

    def loud(self) -> Self:
        """Open ones that nobody has said to have seen."""
        return self.open().filter(quieted_at__isnull=True)


class Alert(Scoped):
    """One cause, from when it was first seen until it was gone."""

    kind = models.CharField(max_length=30)
    key = models.CharField(max_length=60, help_text="Tells this cause from others of its kind.")
    subject = models.CharField(max_length=20)
    name = models.CharField(max_length=120, help_text="What people call the subject, such as a lot number.")
    sentence = models.TextField()
    urgency = models.PositiveSmallIntegerField()
    due_on = models.DateField(null=True)
    details = models.JSONField(default=dict)
    since = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="When its cause was last found to be there, to the hour.")
    closed_at = models.DateTimeField(null=True)
    quieted_at = models.DateTimeField(null=True)
    quieted_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    raised_in = models.UUIDField(help_text="Names the run or the verb that raised it.")

    objects = AlertQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "kind", "key"],
                condition=Q(closed_at__isnull=True),
                name="alert_once_per_cause",
            ),
            models.CheckConstraint(
                condition=Q(urgency__in=[int(one) for one in Urgency]), name="alert_urgency_known"
            ),
            models.CheckConstraint(
                condition=Q(quieted_at__isnull=True) | Q(quieted_by__isnull=False),
                name="alert_quieted_by_somebody",
            ),
        ]
        indexes = [
            models.Index(
                fields=["studio", "urgency", "due_on", "id"],
                condition=Q(closed_at__isnull=True),
                name="open_alerts_by_urgency",
            ),
            models.Index(fields=["studio", "-id"], name="alerts_newest_first"),
            models.Index(fields=["raised_in"], name="alerts_raised_together"),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.sentence}"


class MailChoice(models.TextChoices):
    AT_ONCE = "at once"
    DAILY = "daily"
    NEVER = "never"


class AlertMail(Scoped):
    """How one member wants to be told of alerts by e-mail; without a row of its own, once a day."""

    member = models.OneToOneField("studio.Member", on_delete=models.CASCADE, related_name="alert_mail")
    mail = models.CharField(max_length=10, choices=MailChoice, default=MailChoice.DAILY)
    digest_on = models.DateField(null=True, help_text="The day of the last daily mail.")
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(mail__in=MailChoice.values), name="alert_mail_known")
        ]

    def __str__(self) -> str:
        return f"{self.member}: {self.mail}"
