"""What every row of a studio has in common: it belongs to one studio and is asked for only within it."""

from typing import Any, Self, TypeVar

from django.db import models

from studio.kernel.errors import NotFound


class NoSuchThing(NotFound):
    """The studio has no such row; one of another studio is refused in the same words."""

    code = "no-such-thing"
    title = "No such thing"


Row = TypeVar("Row", bound=models.Model)


class ScopedQuerySet(models.QuerySet[Row]):
    """Rows of one studio; nothing crosses between studios."""

    def of(self, studio: "models.Model | int") -> Self:
        return self.filter(studio=studio)

    def one(self, studio: "models.Model | int", what: str, **lookup: Any) -> Row:
        """The studio's only row that matches; raises `NoSuchThing` naming `what` was looked for."""
        row = self.of(studio).filter(**lookup).first()
        if row is None:
            sought = ", ".join(str(value) for value in lookup.values())
            raise NoSuchThing(f"There is no {what} {sought[:80]} in this studio.")
        return row


class Scoped(models.Model):
    """A row that belongs to one studio."""

    studio = models.ForeignKey("studio.Studio", on_delete=models.PROTECT, related_name="+")

    objects = ScopedQuerySet.as_manager()

    class Meta:
        abstract = True
