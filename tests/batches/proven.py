"""A small studio in which everything has happened once, to be tampered with, and what the proof then finds."""

from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

from django.db.models import Model

from batches.models import Batch
from batches.queries.proof import all_findings
from inventory.actions.counting import count_lot
from inventory.actions.drawing_off import draw_off
from inventory.actions.reversing import reverse_movement
from inventory.models import Movement
from inventory.queries.proof import ledger_findings
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench


class World:
    """A small studio in which everything has happened once: bottles, a stock, a blend, a vial, open and voided batches."""

    def __init__(self, bench: Workbench) -> None:
        self.bench = bench
        self.linalool = bench.bottle("linalool 50g")
        self.ethanol = bench.bottle("ethanol 500g")
        self.stock = bench.stock("linalool@10% 40g")
        self.blend = bench.make(bench.formula("first", "linalool@10% 1", "ethanol 1"), "10")
        self.vial = draw_off(by=bench.by, now=bench.now, number=self.blend.number, mass=Decimal(2))
        self.closed = Batch.objects.get(made=self.blend)
        self.waiting = bench.plan(bench.formula("second", "linalool@10% 1", "ethanol 1"), "2")
        bench.reserve(self.waiting)
        self.begun = bench.plan(bench.formula("third", "linalool@10% 1", "ethanol 1"), "2")
        bench.reserve(self.begun)
        bench.weigh(self.begun, 1, "1.5")
        number = self.linalool.number
        count_lot(by=bench.by, now=bench.now, number=number, gross=Decimal(45), tare=Decimal(0))
        self.spill = Movement.objects.order_by("-id")[0]
        self.back = reverse_movement(
            by=bench.by, now=bench.now, movement_id=self.spill.id, why="it was the other bottle"
        )


def findings() -> dict[str, list[str]]:
    """What the proof finds, by place."""
    found: dict[str, list[str]] = {}
    for finding in [*ledger_findings(), *all_findings()]:
        found.setdefault(finding.where, []).append(finding.what)
    return found


@contextmanager
def tampering(*models: type[Model]) -> Iterator[None]:
    """Everything may be written in these tables, and foreign keys are not looked at."""
    if not models:
        yield
        return
    with without_triggers(models[0]._meta.db_table), tampering(*models[1:]):
        yield


def set_columns(row: Model, **columns: Any) -> None:
    with tampering(type(row)):
        type(row)._default_manager.filter(pk=row.pk).update(**columns)
