"""What was accepted of remake plans: which rows, and what was drafted and noted for them."""

from django.db import models

from studio.models import Scoped


class RemakeAcceptance(Scoped):
    """One acceptance, done once however often it is sent. Append-only."""

    operation = models.CharField(max_length=80, help_text="Names this one acceptance for ever.")
    digest = models.CharField(max_length=64, help_text="Of what the plan was computed on.")
    rows = models.JSONField(help_text="What was accepted of the plan, with the amounts as they were edited.")
    batches = models.JSONField(help_text="Numbers of the batches drafted, in the order of the rows.")
    purchases = models.JSONField(help_text="Ids of the purchases noted.")
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "operation"], name="acceptance_operation_once")
        ]

    def __str__(self) -> str:
        return f"accepted {self.at:%Y-%m-%d} by {self.by_id}"
