"""The hands of tests of the remake plan: pars and offers set, plans read and accepted, what they draft made."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from batches.actions.remakes import (
    WantedRow,
    accept_rows,
)
from batches.models import Batch, RemakeAcceptance
from batches.models.remake_requests import Outlook
from batches.queries.remakes import Remakes
from inventory.actions.buying import OfferedPack, add_offer, add_supplier
from inventory.actions.pars import WantedPar, set_pars
from inventory.models import Lot
from tests.workbench import Workbench


def outlook_of(bench: Workbench, days: int = 28, **more: Any) -> Outlook:
    return Outlook(until=bench.now.date() + timedelta(days=days), **more)


def want(bench: Workbench, text: str, low: str, full: str) -> None:
    material, strength, solvent, _ = bench._read(f"{text} 1g")
    par = WantedPar(
        material=material, strength=strength, solvent=solvent, low=Decimal(low), full=Decimal(full)
    )
    set_pars(by=bench.by, now=bench.now, pars=[par])


def offer(bench: Workbench, name: str, pack: str, price: str, days: int = 5, from_packs: int = 1) -> None:
    supplier = add_supplier(by=bench.by, now=bench.now, name=f"Fernhill {name}", delivery_days=days)
    offered = OfferedPack(
        supplier=supplier,
        material=bench.material(name),
        pack=Decimal(pack),
        price=Decimal(price),
        from_packs=from_packs,
    )
    add_offer(by=bench.by, now=bench.now, offered=offered)


def in_days(bench: Workbench, days: int) -> date:
    return bench.now.date() + timedelta(days=days)


def told(found: Remakes) -> list[tuple[str, str]]:
    return [(row.name, f"{row.mass.normalize():f}") for row in found.plan.rows.values()]


def told_with_days(found: Remakes) -> list[tuple[str, str, date]]:
    return [(row.name, f"{row.mass.normalize():f}", row.needed_on) for row in found.plan.makings]


def accept(bench: Workbench, found: Remakes, operation: str = "once", **chosen: Any) -> RemakeAcceptance:
    rows = chosen.pop("rows", [WantedRow(key) for key in found.plan.rows])
    return accept_rows(
        by=chosen.pop("by", bench.by),
        now=bench.now,
        operation=operation,
        digest=found.digest,
        outlook=found.outlook,
        rows=rows,
    )


def finish(bench: Workbench, number: str) -> Lot:
    batch = Batch.objects.get(number=number)
    bench.weigh_all(batch)
    return bench.close(batch)
