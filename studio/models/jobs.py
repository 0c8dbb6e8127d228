"""When each scheduled job last ran, for whoever watches over the service."""

from django.db import models


class JobRun(models.Model):
    """The last run of one job."""

    name = models.CharField(max_length=120, unique=True)
    finished_at = models.DateTimeField(null=True)
    failed_at = models.DateTimeField(null=True)
    took_ms = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return self.name
