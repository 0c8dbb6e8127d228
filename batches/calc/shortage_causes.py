"""What alerts of the remake plan say: below par, and running short by a day with the batch that will."""

from datetime import date
from decimal import Decimal

from batches.calc.remake_request import ItemKey
from inventory.calc.alert_causes import on_day
from inventory.calc.wording import figure
from studio.kernel.causes import Cause, Urgency

BELOW_PAR = "below-par"
RUNS_SHORT = "runs-short"
DAYS_AT_HAND = 3


def below_par(*, item: ItemKey, name: str, there: Decimal, low: Decimal, full: Decimal) -> Cause:
    """Of an item less is free to use than the studio wants at least."""
    return Cause(
        kind=BELOW_PAR,
        key=str(item),
        subject="material",
        name=name,
        sentence=(
            f"{name} is below par: {figure(there)} g are free to use, {figure(low)} g are wanted at least and "
            f"{figure(full)} g at most. The remake plan says how to make it up."
        ),
        urgency=Urgency.LATER,
        details={"there": str(there), "low": str(low), "full": str(full)},
    )


def runs_short(
    *, item: ItemKey, name: str, day: date, mass: Decimal, batch: str, label: str, today: date
) -> Cause:
    """An item of which a dated batch will find too little on its day, unless something is done."""
    near = (day - today).days <= DAYS_AT_HAND
    return Cause(
        kind=RUNS_SHORT,
        key=str(item),
        subject="batch",
        name=batch,
        sentence=f"{name} will run short on {on_day(day)}: {figure(mass)} g are missing for {label}.",
        urgency=Urgency.NOW if near else Urgency.SOON,
        due_on=day,
        details={"item": name, "missing": str(mass), "batch": batch},
    )
