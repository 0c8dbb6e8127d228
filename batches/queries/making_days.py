"""What is to be made on one day: the batches with what they take, and what is to be ordered."""

from dataclasses import dataclass
from datetime import date

from batches.models import Batch, BatchLine, BatchState
from batches.queries.batches import batches_of
from inventory.models import Purchase, PurchaseState
from inventory.queries.buying import purchases_of
from studio.models import Studio

IN_HAND = (BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING)


@dataclass(frozen=True, slots=True)
class Making:
    """A batch and its pours in the order of its plan."""

    batch: Batch
    lines: list[BatchLine]


@dataclass(frozen=True, slots=True)
class MakingDaySheet:
    """Stocks come before what is made of them: stocks, bases, blends, grids, each in the order they were drafted."""

    day: date
    makings: list[Making]
    to_order: list[Purchase]


def making_day(*, studio: Studio, day: date) -> MakingDaySheet:
    """The sheet of a day. Three statements."""
    batches = list(batches_of(studio).filter(planned_on=day, state__in=IN_HAND).order_by("id"))
    lines: dict[int, list[BatchLine]] = {}
    rows = BatchLine.objects.filter(batch__in=batches).select_related("lot__shelf", "material")
    for line in rows.order_by("batch_id", "position", "id"):
        lines.setdefault(line.batch_id, []).append(line)
    order = {"stock": 0, "base": 1, "blend": 2, "grid": 3}
    makings = [Making(batch, lines.get(batch.pk, [])) for batch in batches]
    purchases = purchases_of(studio).filter(order_on__lte=day, state=PurchaseState.TO_ORDER)
    return MakingDaySheet(
        day=day,
        makings=sorted(makings, key=lambda one: (order[one.batch.kind], one.batch.pk)),
        to_order=list(purchases.order_by("order_on", "id")),
    )
