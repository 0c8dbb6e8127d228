"""Many clients of mixed work at once, killing meanwhile if it is asked for, and the proof of what is there afterwards."""

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import connection
from django.db.models import Count, QuerySet
from django.utils import timezone

from batches.models import Batch, BatchState, Weighing
from inventory.models import Lot, Movement
from studio.actions.keys import issue_key
from studio.models import Member, SealedRecord
from tests.load.client import Client, Told, Work
from tests.load.service import Killer, running
from tests.pages import Visitor
from tests.workbench import Workbench, assert_everything_holds

WANTED_GRAMS = 12
"""So little that it runs out, and whoever comes late has to be refused."""


@dataclass(frozen=True)
class Storm:
    """What the clients were told, how long it lasted, and who was killed how often."""

    told: Sequence[Told]
    seconds: float
    killed: Counter[str]
    wanted: Sequence[str]
    web_seconds: float
    """Processor time of the web processes that are there at the end."""

    @property
    def answers(self) -> int:
        return sum(len(took) for told in self.told for took in told.took.values())


def storm(by: Member, folder: Path, *, clients: int, seconds: float, kills: int = 0) -> Storm:
    """Let so many clients work in the studio of `by`: for `seconds`, or until there were so many kills."""
    bench = Workbench(by, timezone.now())
    wanted = tuple(bench.bottle(f"linalool {WANTED_GRAMS}g").number for _ in range(3))
    for _ in range(4):
        bench.bottle("citral 900000g")
        bench.bottle("ethanol 900000g")
    bench.formula("storm", "citral 1", "ethanol 9")
    secret = issue_key(by=by, name="storm", scope="admin", at=bench.now)[1]
    cookie = Visitor(by).client.cookies.output(attrs=[], header="", sep=";").strip()
    with running(folder, broker=connection.vendor == "postgresql") as service:
        work = Work(service.port, secret, cookie, wanted, str(bench.materials["citral"].pk), "storm")
        started = time.monotonic()
        crowd = [Client(work, f"{by.studio_id}-{place}", started + seconds) for place in range(clients)]
        killer = Killer(service, kills)
        for thread in (*crowd, killer):
            thread.start()
        if kills:
            killer.join(seconds)
            killer.stopped.set()
            for client in crowd:
                client.stopping = True
        for client in crowd:
            client.join()
        took = time.monotonic() - started
        killer.stopped.set()
        killer.join()
        return Storm([client.told for client in crowd], took, service.killed, wanted, service.web_seconds())


def assert_all_is_there_once(by: Member, after: Storm) -> None:
    """`verify` is clean, whatever was acknowledged is there, nothing is there twice, and no lot gave more than it held."""
    faults = list(_faults(by, after))
    assert not faults, "\n".join(faults[:40])
    assert_everything_holds()


def _faults(by: Member, after: Storm) -> Iterator[str]:
    for told in after.told:
        yield from told.wrong
    lots = Lot.objects.of(by.studio)
    vials = _marked(lots.filter(kind="vial"), "title")
    bottles = _marked(lots.exclude(supplier_lot=""), "supplier_lot")
    batches = _marked(Batch.objects.of(by.studio), "title")
    weighings = _marked(Weighing.objects.filter(studio=by.studio), "operation")
    made = _marked(lots.exclude(made_in="").exclude(kind="vial"), "made_in")
    sealed = _marked(SealedRecord.objects.of(by.studio).filter(subject="batch"), "name")
    closed = set(Batch.objects.of(by.studio).filter(state=BatchState.CLOSED).values_list("number", flat=True))
    everything = {
        "vial": (vials, {marker for told in after.told for marker in told.vials}),
        "bottle": (bottles, {marker for told in after.told for marker in told.bottles}),
        "batch": (batches, {marker for told in after.told for marker in told.batches}),
        "weighing": (weighings, {marker for told in after.told for marker in told.weighings}),
        "made lot": (made, {number for told in after.told for number in told.closed}),
        "record": (sealed, {number for told in after.told for number in told.closed}),
    }
    for what, (there, acknowledged) in everything.items():
        yield from (
            f"{what} {name} was acknowledged and is not there" for name in acknowledged - there.keys()
        )
        yield from (f"{what} {name} is there {count} times" for name, count in there.items() if count > 1)
    yield from (f"batch {number} is closed without its lot" for number in closed - made.keys())
    for number in after.wanted:
        lot = lots.get(number=number)
        given = sum((move.mass for move in Movement.objects.filter(source=lot)), Decimal(0))
        if lot.on_hand + given != WANTED_GRAMS or lot.on_hand < 0:
            yield f"lot {number} gave {given} g and holds {lot.on_hand} g of {WANTED_GRAMS} g"


def _marked(rows: QuerySet[Any], field: str) -> dict[str, int]:
    """How often each value of a field is there."""
    return dict(rows.exclude(**{field: None}).values_list(field).annotate(count=Count("id")))
