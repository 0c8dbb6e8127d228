"""What was refused at the bench: readings and lots that were told and not taken. They count in no balance.

A row names its line by position and its lot as it was told, because a plan that is made anew replaces the lines and
because what was told may be no lot at all.
"""

from django.db import models
from django.db.models import Q

from studio.models import Scoped


class RefusedFor(models.TextChoices):
    WRONG_LOT = "wrong lot"
    LOT_ON_HOLD = "lot on hold"
    LOT_EXPIRED = "lot expired"
    UNCLEAR = "unclear weight"
    UNFIT = "unfit reading"
    OUTSIDE = "outside the band"
    MOVED_ON = "line moved on"


class RefusedReading(Scoped):
    """One reading or lot that was refused at the bench, as it was told, with the sentence that refused it. Append-only."""

    batch = models.ForeignKey("batches.Batch", on_delete=models.PROTECT, related_name="refused_readings")
    position = models.PositiveSmallIntegerField(help_text="Of the line that was to be weighed.")
    kind = models.CharField(max_length=20, choices=RefusedFor)
    told = models.CharField(
        max_length=200, help_text="The lot or the weight as it was scanned, typed or read."
    )
    why = models.CharField(max_length=500, help_text="The sentence that refused it.")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    operation = models.CharField(max_length=120, help_text="Client's name for this one refusal.")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=RefusedFor.values), name="refused_reading_kind_known"
            ),
            models.CheckConstraint(condition=~Q(told="") & ~Q(why=""), name="refused_reading_says_what"),
            models.UniqueConstraint(fields=["studio", "operation"], name="refused_reading_operation_once"),
        ]
        indexes = [models.Index(fields=["batch", "id"], name="refused_of_batch")]

    def __str__(self) -> str:
        return f"“{self.told}” refused in {self.batch_id}: {self.kind}"
