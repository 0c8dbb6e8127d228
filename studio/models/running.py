"""The running numbers of a studio, one row per sort and year. Its lock is taken after the locks on lots."""

from django.db import models

from studio.models.scoped import Scoped


class RunningNumber(Scoped):
    """The last number given out to a lot or a batch in a year."""

    sort = models.CharField(max_length=10)
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["studio", "sort", "year"], name="running_number_once")]

    def __str__(self) -> str:
        return f"{self.sort} {self.year}: {self.last}"
