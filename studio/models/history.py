"""Who changed what, when, from what to what, and why. Written in the transaction of the change; append-only."""

from django.db import models

from studio.models.scoped import Scoped


class HistoryEntry(Scoped):
    """One change of one thing, named the way people name it ("lot 26-0417-Z")."""

    at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    subject = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    verb = models.CharField(max_length=40)
    changes = models.JSONField(default=dict)
    why = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["studio", "subject", "name", "id"], name="history_of_thing")]

    def __str__(self) -> str:
        return f"{self.verb} {self.subject} {self.name}"
