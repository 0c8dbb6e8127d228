"""The list for counting a shelf: every lot that stands on it, with the empty container's mass, and blanks to write on.

What the book says is left out on purpose: who knows the expected figure reads it off the balance.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from batches.queries.tickets import link_to
from inventory.models import Shelf
from inventory.queries.shelf import lots_of
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class CountLine:
    """One lot to be found and weighed; grams."""

    lot: str
    link: str
    kind: str
    title: str
    strength: Decimal | None
    solvent: str
    tare: Decimal | None
    expires_on: date | None
    keeper: str
    held: bool


@dataclass(frozen=True, slots=True)
class CountList:
    """A shelf and what ought to stand on it, by lot number."""

    studio: str
    shelf: str
    note: str
    keeper: str
    lines: tuple[CountLine, ...]


def count_list_of(*, studio: Studio, shelf_id: int) -> CountList:
    """The list of one shelf. Two statements; raises `NoSuchThing`."""
    shelf: Shelf = Shelf.objects.select_related("keeper__person").one(studio, "shelf", id=shelf_id)
    lots = lots_of(studio).filter(shelf=shelf, emptied_at__isnull=True).order_by("number")
    return CountList(
        studio=studio.name,
        shelf=shelf.name,
        note=shelf.note,
        keeper=shelf.keeper.person.name if shelf.keeper else "",
        lines=tuple(
            CountLine(
                lot=lot.number,
                link=link_to(lot),
                kind=lot.kind,
                title=lot.title,
                strength=lot.declared_strength or lot.actual_strength,
                solvent=lot.solvent.name if lot.solvent else "",
                tare=lot.tare,
                expires_on=lot.expires_on,
                keeper=lot.keeper.person.name if lot.keeper else "",
                held=lot.held_at is not None,
            )
            for lot in lots
        ),
    )
