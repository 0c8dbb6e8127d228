"""What has been poured of a batch and what could still be: read by the verb that chooses a way on after an
overpour, and by the page that shows the ways.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.db.models import Sum

from batches.calc.overpour import OverpourLine
from batches.models.making import Batch, BatchLine
from inventory.models import Claim, ClaimState
from studio.kernel.mass import ZERO_MASS, nearest_mass

TOP_UP_STEPS = 5
"""A line already poured can be topped up by this many steps of the balance (common practice, no source)."""


def poured_per_line(batch: Batch) -> dict[int, Decimal]:
    """Grams that stand per line id. One statement."""
    rows = batch.weighings.all().standing().order_by("line_id").values_list("line_id")
    return dict(rows.annotate(Sum("mass")))


def allowed_band(batch: Batch, line: BatchLine) -> tuple[Decimal, Decimal]:
    """The least and the most that a line may hold, in grams: its target and the batch's tolerance either way."""
    width = nearest_mass(line.target * batch.tolerance)
    return line.target - width, line.target + width


def overpour_lines(batch: Batch, lines: Sequence[BatchLine]) -> list[OverpourLine]:
    """The lines of a batch as the arithmetic of an overpour takes them; `lines` come with their lots.

    What the shelf has for a line is what its lot holds beyond the claims of others, less what this batch has
    poured of it and what its other lines still want of it. Two statements.
    """
    poured = poured_per_line(batch)
    own = dict(
        Claim.objects.filter(
            purpose=batch.number, studio_id=batch.studio_id, state=ClaimState.OPEN
        ).values_list("lot_id", "mass")
    )
    step = batch.balance.readability if batch.balance else ZERO_MASS
    return [
        OverpourLine(
            key=str(line.position),
            name=line.material.name,
            target=line.target,
            planned=line.planned,
            poured=poured.get(line.id, ZERO_MASS),
            available=_left_for(line, lines, poured, own),
            cost_per_gram=line.lot.cost_per_gram,
            smallest_top_up=TOP_UP_STEPS * step,
        )
        for line in lines
    ]


def _left_for(
    line: BatchLine,
    lines: Sequence[BatchLine],
    poured: Mapping[int, Decimal],
    own: Mapping[int, Decimal],
) -> Decimal:
    lot = line.lot
    free = lot.on_hand - (lot.reserved - own.get(lot.id, ZERO_MASS))
    for other in lines:
        if other.lot_id != lot.id:
            continue
        free -= poured.get(other.id, ZERO_MASS)
        if other.id != line.id:
            free -= max(other.target - poured.get(other.id, ZERO_MASS), ZERO_MASS)
    return max(free, ZERO_MASS)
