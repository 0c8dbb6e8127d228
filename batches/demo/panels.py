"""The panels of the demo studio: set up by one member, answered by another, as their sheet says which trays are right."""

from decimal import Decimal

from batches.actions.answering import answer_serving
from batches.actions.panels import WantedPanel, set_up_panel
from batches.calc.discrimination import TRIANGLE
from batches.calc.serving_orders import drawn_servings
from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.sheets import Told
from batches.models import PanelMethod

SAMPLES = 3
REST_MINUTES = 15


def hold_panel(told: Told, named: Named, days: Days) -> None:
    """Set a triangle up and answer as many of its trays as are told, with a rest after each."""
    sitter = named.members[told["sits"]]
    lot_a, lot_b = (named.lot(reference) for reference in told["of"])
    wanted = WantedPanel(
        title=told["title"],
        method=PanelMethod.TRIANGLE,
        lot_a=lot_a,
        lot_b=lot_b,
        sitters=[sitter],
        share=Decimal(told["share"]),
        answers=told["answers"],
        note=told["note"],
    )
    panel = set_up_panel(by=named.members[told["by"]], now=days.work(10), wanted=wanted)
    trays = drawn_servings(TRIANGLE, seed=panel.seed, answers=panel.planned)
    for number, tray in enumerate(trays[: told["answered"]], 1):
        place = tray.answer if number in told["right"] else (tray.answer + 1) % SAMPLES
        code = tray.codes[place]
        assert code is not None
        answer_serving(by=sitter, now=days.work(REST_MINUTES), panel_id=panel.pk, serving=number, code=code)
