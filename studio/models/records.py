"""Sealed records, their signatures, and the checkpoints over them: what was done, chained by SHA-256. Append-only."""

import json
from typing import Any

from django.db import models

from studio.kernel.checkpoints import short_code
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

    def told(self) -> Any:
        """The sealed envelope, with the record in it as `record`; raises `ValueError` when it is no JSON."""
        return json.loads(self.text)


class Meaning(models.TextChoices):
    """What somebody says of a record by signing it."""

    WEIGHED = "weighed"
    CHECKED = "checked"
    RELEASED = "released"


class Signature(Scoped):
    """Somebody's word for a sealed record. It is sealed itself, in a record that names the seal it signs."""

    signs = models.ForeignKey(SealedRecord, on_delete=models.PROTECT, related_name="signatures")
    record = models.OneToOneField(SealedRecord, on_delete=models.PROTECT, related_name="signature")
    meaning = models.CharField(max_length=10, choices=Meaning)
    at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["signs", "by", "meaning"], name="signature_once"),
            models.CheckConstraint(
                condition=models.Q(meaning__in=Meaning.values), name="signature_meaning_known"
            ),
            models.CheckConstraint(
                condition=~models.Q(signs=models.F("record")), name="signature_signs_another_record"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meaning} by {self.by_id}"


class Checkpoint(Scoped):
    """A signed statement of how far records and ledger had grown; the same stands outside of the database."""

    number = models.PositiveIntegerField()
    at = models.DateTimeField()
    text = models.TextField()
    digest = models.CharField(max_length=64)
    signature = models.CharField(max_length=88)
    key = models.CharField(max_length=44, help_text="The public key the signature holds under.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["studio", "number"], name="checkpoint_number_once")]

    def __str__(self) -> str:
        return self.code

    @property
    def code(self) -> str:
        """The checkpoint as it is printed and read aloud."""
        return short_code(self.number, self.digest)

    def told(self) -> Any:
        """What its text says; raises `ValueError` when it is no JSON."""
        return json.loads(self.text)
