"""Proving panels: the trays are those their seed draws, an answer names a number on its tray, and none is miscounted."""

from collections.abc import Iterator

from django.db.models import Count, Prefetch

from batches.calc.discrimination import METHODS
from batches.calc.serving_orders import drawn_servings
from batches.models import Panel, PanelServing
from inventory.queries.proof import Finding

PANELS_AT_ONCE = 100


def panel_findings() -> Iterator[Finding]:
    """Everything about panels that does not hold, in all studios; three statements for every hundred of them."""
    after = 0
    trays = PanelServing.objects.select_related("answer").order_by("number", "id")
    rows = Panel.objects.annotate(steps_count=Count("steps")).prefetch_related(
        Prefetch("servings", queryset=trays)
    )
    while panels := list(rows.filter(id__gt=after).order_by("id")[:PANELS_AT_ONCE]):
        after = panels[-1].id
        for panel in panels:
            yield from _of(panel, panel.steps_count)


def _of(panel: Panel, steps: int) -> Iterator[Finding]:
    where = f"panel {panel.pk}"
    trays = list(panel.servings.all())
    drawn = drawn_servings(METHODS[panel.method], seed=panel.seed, answers=panel.planned, steps=max(steps, 1))
    if [(tray.places, tray.codes) for tray in trays] != [(one.order, list(one.codes)) for one in drawn]:
        yield Finding(panel.studio_id, where, "Its trays are not those that its seed draws.")
    answered = [tray for tray in trays if hasattr(tray, "answer")]
    if len(answered) != panel.answered:
        yield Finding(
            panel.studio_id, where, f"It counts {panel.answered} answers, and {len(answered)} were given."
        )
    for tray in answered:
        chosen = tray.answer.chosen
        if chosen >= len(tray.codes) or tray.codes[chosen] is None:
            yield Finding(panel.studio_id, where, f"The answer to tray {tray.number} names no number on it.")
