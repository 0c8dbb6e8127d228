"""Panels of tests: two lots on the shelf, people who sit, and noses that choose as they are told."""

from collections.abc import Callable
from typing import Any

from batches.actions.answering import answer_serving
from batches.actions.panels import WantedPanel, set_up_panel
from batches.calc.discrimination import METHODS
from batches.calc.serving_orders import Serving, drawn_servings
from batches.models import Panel, PanelMethod
from studio.models import Member
from tests.workbench import Workbench

Nose = Callable[[int, int], int]
"""From the number of a tray and its right place to the place that is chosen."""


def right(number: int, place: int) -> int:
    """A nose that always tells."""
    return place


def wrong(number: int, place: int) -> int:
    """A nose that never does."""
    return (place + 1) % 2 if place else 1


def set_up(bench: Workbench, *sitters: Member, **wanted: Any) -> Panel:
    """A triangle of 24 answers unless it is wanted otherwise, of two bottles."""
    told = {
        "title": "Old and new",
        "method": PanelMethod.TRIANGLE,
        "lot_a": bench.bottle("linalool 5g"),
        "lot_b": bench.bottle("geraniol 5g"),
        "answers": 24,
        **wanted,
    }
    return set_up_panel(by=bench.by, now=bench.now, wanted=WantedPanel(sitters=sitters, **told))


def drawn_for(panel: Panel) -> list[Serving]:
    """The trays that the panel's seed gives."""
    return drawn_servings(
        METHODS[panel.method], seed=panel.seed, answers=panel.planned, steps=panel.steps.count()
    )


def answer(bench: Workbench, panel: Panel, by: Member, number: int, nose: Nose = right) -> Any:
    """Let a nose answer a tray; what is right it is told by the seed."""
    tray = drawn_for(panel)[number - 1]
    code = tray.codes[nose(number, tray.answer)]
    return answer_serving(by=by, now=bench.now, panel_id=panel.pk, serving=number, code=code or 0)


def answer_all(bench: Workbench, panel: Panel, by: Member, nose: Nose = right, until: int = 0) -> None:
    """Let a nose answer every tray in turn, or those up to a number."""
    for number in range(panel.answered + 1, (until or panel.planned) + 1):
        answer(bench, panel, by, number, nose)
    panel.refresh_from_db()
