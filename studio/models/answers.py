"""Answers remembered by idempotency key.

The row is inserted and locked inside the transaction of the work it stands for, so a crash leaves neither work
nor mark, and two requests at once with one key wait for each other in the database.
"""

from django.db import models


class RememberedAnswer(models.Model):
    """The first answer to a POST with this key, kept at least a day and given again, byte for byte."""

    member = models.ForeignKey("studio.Member", on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    request_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.BinaryField(default=b"")
    created_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["member", "key"], name="answer_once_per_key")]
        indexes = [models.Index(fields=["created_at"], name="answer_age")]

    def __str__(self) -> str:
        return self.key
