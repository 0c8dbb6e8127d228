"""A page of a long list: so many rows from a place on, and whether there are more.

One row more than is shown is read, which tells whether there is a next page without counting what a person will
never page through.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

from django.db.models import QuerySet
from django.http import HttpRequest

SHOWN = 50
DEEPEST = 2000


@dataclass(frozen=True, slots=True)
class Listing:
    """The rows of one page of a list."""

    rows: Sequence[Any]
    page: int
    more: bool

    @classmethod
    def of(cls, rows: QuerySet[Any] | Sequence[Any], request: HttpRequest) -> Self:
        """The page that `?page=` asks for, the first one by default; one statement of rows not read yet."""
        asked = request.GET.get("page", "")
        page = min(int(asked), DEEPEST) if asked.isascii() and asked.isdigit() and int(asked) > 0 else 1
        start = (page - 1) * SHOWN
        found = list(rows[start : start + SHOWN + 1])
        return cls(rows=found[:SHOWN], page=page, more=len(found) > SHOWN)

    @property
    def first(self) -> int:
        """Place of the first row shown, counted from 1."""
        return (self.page - 1) * SHOWN + 1

    @property
    def last(self) -> int:
        return self.first + len(self.rows) - 1

    @property
    def earlier(self) -> int | None:
        return self.page - 1 if self.page > 1 else None

    @property
    def later(self) -> int | None:
        return self.page + 1 if self.more else None
