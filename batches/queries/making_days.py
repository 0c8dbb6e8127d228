"""What is to be made on one day: the batches with what they take, and what is to be ordered."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from batches.models import Batch, BatchLine, BatchState
from batches.queries.batches import batches_of
from batches.queries.tickets import link_to
from inventory.models import Purchase, PurchaseState
from inventory.queries.buying import purchases_of
from studio.models import Studio

IN_HAND = (BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING)
_TURN = {"stock": 0, "base": 1, "blend": 2, "grid": 3}


@dataclass(frozen=True, slots=True)
class Pour:
    """A lot to fetch and how many grams of it to weigh."""

    position: int
    lot: str
    link: str
    title: str
    material: str
    shelf: str
    target: Decimal


@dataclass(frozen=True, slots=True)
class Making:
    """A batch with its pours in the order of its plan, or why it has none; grams."""

    number: str
    title: str
    state: str
    planned: bool
    mass: Decimal
    pours: tuple[Pour, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ToOrder:
    """Packs that should have been ordered by the day; grams a pack, the price for all of them."""

    packs: int
    pack: Decimal
    material: str
    supplier: str
    price: Decimal
    order_on: date


@dataclass(frozen=True, slots=True)
class DaySheet:
    """Stocks come before what is made of them: stocks, bases, blends, grids, each in the order they were drafted."""

    studio: str
    currency: str
    day: date
    makings: tuple[Making, ...]
    to_order: tuple[ToOrder, ...]


def day_sheet_of(*, studio: Studio, day: date) -> DaySheet:
    """The sheet of a day. Four statements."""
    batches = list(batches_of(studio).filter(planned_on=day, state__in=IN_HAND).order_by("id"))
    lines: dict[int, list[BatchLine]] = {}
    rows = BatchLine.objects.filter(batch__in=batches).select_related("lot__shelf", "material")
    for line in rows.order_by("batch_id", "position", "id"):
        lines.setdefault(line.batch_id, []).append(line)
    purchases = purchases_of(studio).filter(order_on__lte=day, state=PurchaseState.TO_ORDER)
    return DaySheet(
        studio=studio.name,
        currency=studio.currency,
        day=day,
        makings=tuple(
            _making(batch, lines.get(batch.pk, []))
            for batch in sorted(batches, key=lambda one: (_TURN[one.kind], one.pk))
        ),
        to_order=tuple(_to_order(one) for one in purchases.order_by("order_on", "id")),
    )


def _making(batch: Batch, lines: list[BatchLine]) -> Making:
    return Making(
        number=batch.number,
        title=batch.title,
        state=batch.state,
        planned=bool(batch.explanation.get("possible")),
        mass=batch.mass,
        pours=tuple(_pour(line) for line in lines),
        reasons=tuple(reason["sentence"] for reason in batch.explanation.get("reasons", ())),
    )


def _pour(line: BatchLine) -> Pour:
    return Pour(
        position=line.position,
        lot=line.lot.number,
        link=link_to(line.lot),
        title=line.lot.title,
        material=line.name,
        shelf=line.lot.shelf.name if line.lot.shelf else "",
        target=line.target,
    )


def _to_order(purchase: Purchase) -> ToOrder:
    return ToOrder(
        packs=purchase.packs,
        pack=purchase.offer.pack,
        material=purchase.offer.material.name,
        supplier=purchase.offer.supplier.name,
        price=purchase.price,
        order_on=purchase.order_on,
    )
