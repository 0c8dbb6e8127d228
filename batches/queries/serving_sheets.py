"""The sheet of a panel's trays: tray by tray the numbers from the left, with room for the answer, and nothing of the key.

Whoever has no phone at hand answers on it. It is the studio's paper like any other, so it names neither the lots nor
the seed; what stands behind the numbers is never printed as a document.
"""

from dataclasses import dataclass

from batches.calc.panel_words import SMELLING_CAUTIONS
from batches.queries.panels import panel_at, servings_of
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class SheetTray:
    """One tray: its number and the numbers on it from the left, None for a reference."""

    number: int
    codes: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class ServingSheet:
    """The trays of a panel as those who sit may read them."""

    studio: str
    panel: str
    title: str
    question: str
    lead: str
    people: tuple[str, ...]
    trays: tuple[SheetTray, ...]
    cautions: tuple[str, ...]


def serving_sheet_of(*, studio: Studio, panel_id: int) -> ServingSheet:
    """The sheet of a panel, in a fixed number of statements; raises `NoSuchThing`."""
    panel = panel_at(studio=studio, panel_id=panel_id)
    return ServingSheet(
        studio=studio.name,
        panel=str(panel.pk),
        title=panel.title,
        question=panel.asked.question,
        lead=panel.asked.lead,
        people=tuple(str(member) for member in panel.people),
        trays=tuple(
            SheetTray(number, tuple(codes))
            for number, codes in servings_of(panel).order_by("number", "id").values_list("number", "codes")
        ),
        cautions=SMELLING_CAUTIONS,
    )
