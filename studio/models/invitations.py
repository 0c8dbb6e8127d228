"""Invitations into a studio: a link that whoever holds it comes in by, once, until a day."""

from django.db import models

from studio.models.people import Role
from studio.models.scoped import Scoped


class Invitation(Scoped):
    """An invitation sent to an e-mail address. Its secret is in the link only; kept is a SHA-256 of it."""

    email = models.EmailField()
    role = models.CharField(max_length=10, choices=Role)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, help_text="When it was accepted or withdrawn.")
    accepted_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="invitation_role_known"),
            models.CheckConstraint(
                condition=models.Q(accepted_by__isnull=True) | models.Q(ended_at__isnull=False),
                name="invitation_ends_when_accepted",
            ),
            models.UniqueConstraint(
                fields=["studio", "email"],
                condition=models.Q(ended_at__isnull=True),
                name="invitation_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.email} as {self.role}"
