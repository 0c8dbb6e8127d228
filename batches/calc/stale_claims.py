"""When claims that nobody weighs for are reported and let go, and what is said of them."""

from datetime import datetime, timedelta
from decimal import Decimal

from inventory.calc.alert_causes import on_day
from inventory.calc.wording import figure
from studio.kernel.causes import Cause, Urgency

STALE_CLAIM = "stale-claim"
WARNED_AT_MOST = timedelta(days=3)


def reported_after(claim_days: int) -> timedelta:
    """How long after reserving it is reported: three days before the claims end, at least when two thirds are over."""
    kept = timedelta(days=claim_days)
    return kept - min(WARNED_AT_MOST, kept / 3)


def stale_claim(
    *, batch: int, number: str, title: str, touched_at: datetime, claim_days: int, mass: Decimal, lots: int
) -> Cause:
    """A reserved batch that has seen no weighing for so long that its claims will end."""
    ends = (touched_at + timedelta(days=claim_days)).date()
    return Cause(
        kind=STALE_CLAIM,
        key=str(batch),
        subject="batch",
        name=number,
        sentence=(
            f"Batch {number}, {title}, is reserved and was not weighed since {on_day(touched_at.date())}; its claims on "
            f"{lots} {'lot' if lots == 1 else 'lots'} ({figure(mass)} g) end on {on_day(ends)}."
        ),
        urgency=Urgency.SOON,
        due_on=ends,
        details={"claimed": str(mass), "lots": lots, "title": title},
    )
