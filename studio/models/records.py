"""Sealed records: the canonical text of what was done, chained by SHA-256. Append-only."""

from django.db import models

from studio.models.scoped import Scoped


class SealedRecord(Scoped):
    """One finished record of a studio, sealed behind the record before it."""

    sequence = models.PositiveIntegerField()
    subject = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    text = models.TextField()
    previous = models.CharField(max_length=64)
    seal = models.CharField(max_length=64)
    sealed_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    amends = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="amendments")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "sequence"], name="record_sequence_once"),
            models.UniqueConstraint(fields=["studio", "previous"], name="record_chain_is_a_line"),
        ]
        indexes = [models.Index(fields=["studio", "subject", "name"], name="record_of_thing")]

    def __str__(self) -> str:
        return f"{self.sequence}: {self.subject} {self.name}"
