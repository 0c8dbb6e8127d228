"""What alerts of the shelf say: one function for each kind of cause, from its numbers to its sentence.

Sentences carry days and not distances ("on 12 March 2026", not "in 3 days"), so that they change only when something
has happened. Whether a cause is there is asked elsewhere; here it is.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from inventory.calc.wording import figure, listed
from studio.kernel.causes import Cause, Urgency

EXPIRING = "expiring"
EXPIRED_CLAIMED = "expired-claimed"
SHORT_CLAIM = "short-claim"
HOLD = "hold"
BALANCE_CHECK = "balance-check"
OVERDUE_LOAN = "overdue-loan"


def on_day(day: date) -> str:
    """A day in a sentence: 12 March 2026."""
    return f"{day.day} {day:%B %Y}"


def expiring(*, lot: int, number: str, title: str, expires_on: date, on_hand: Decimal, today: date) -> Cause:
    """A lot whose day is near or past, with nothing claimed of it once it is past."""
    past = expires_on < today
    verb = "expired" if past else "expires"
    return Cause(
        kind=EXPIRING,
        key=str(lot),
        subject="lot",
        name=number,
        sentence=f"Lot {number}, {title}, {verb} on {on_day(expires_on)}; {figure(on_hand)} g are on hand.",
        urgency=Urgency.SOON if past else Urgency.LATER,
        due_on=expires_on,
        details={"on_hand": str(on_hand), "title": title},
    )


def expired_claimed(
    *, lot: int, number: str, title: str, expires_on: date, claimed: Decimal, batches: Sequence[str]
) -> Cause:
    """A lot past its day of which open batches still mean to take."""
    return Cause(
        kind=EXPIRED_CLAIMED,
        key=str(lot),
        subject="lot",
        name=number,
        sentence=(
            f"Lot {number}, {title}, expired on {on_day(expires_on)}, and {figure(claimed)} g of it are claimed for "
            f"{listed(batches)}. Plan with another lot, or give a reason for using this one."
        ),
        urgency=Urgency.NOW,
        due_on=expires_on,
        details={"claimed": str(claimed), "claimed_for": list(batches), "title": title},
    )


def short_claim(
    *, claim: int, number: str, title: str, batch: str, wanted: Decimal, short: Decimal, whose: str
) -> Cause:
    """A claim that its lot no longer covers."""
    return Cause(
        kind=SHORT_CLAIM,
        key=str(claim),
        subject="batch",
        name=batch,
        sentence=(
            f"Batch {batch} claims {figure(wanted)} g of lot {number}, {title}, which lacks {figure(short)} g of it. "
            f"{whose} reserved it."
        ),
        urgency=Urgency.NOW,
        details={"lot": number, "wanted": str(wanted), "short": str(short), "title": title},
    )


def hold(*, lot: int, number: str, title: str, since: datetime, reason: str, claimed: Decimal) -> Cause:
    """A lot that is on hold."""
    claims = f" {figure(claimed)} g of it are claimed and cannot be weighed." if claimed else ""
    stopped = f"{reason.rstrip('.')}." if reason[-1:] not in "!?" else reason
    return Cause(
        kind=HOLD,
        key=str(lot),
        subject="lot",
        name=number,
        sentence=f"Lot {number}, {title}, is on hold since {on_day(since.date())}: {stopped}{claims}",
        urgency=Urgency.NOW if claimed else Urgency.SOON,
        details={"reason": reason, "claimed": str(claimed), "title": title},
    )


def balance_check(
    *, balance: int, name: str, every_days: int, last_at: datetime | None, passed: bool
) -> Cause:
    """A balance that was never checked, did not pass, or is past its interval."""
    details: dict[str, Any] = {"balance": name, "every_days": every_days}
    if last_at is None:
        told, due, urgency = f"Balance {name} was never checked.", None, Urgency.SOON
    elif not passed:
        told = f"Balance {name} did not pass its check on {on_day(last_at.date())}; do not weigh on it before it does."
        due, urgency = last_at.date(), Urgency.NOW
    else:
        due, urgency = (last_at + timedelta(days=every_days)).date(), Urgency.SOON
        told = f"Balance {name} was last checked on {on_day(last_at.date())}; the next check was due on {on_day(due)}."
    return Cause(
        kind=BALANCE_CHECK,
        key=str(balance),
        subject="balance",
        name=str(balance),
        sentence=told,
        urgency=urgency,
        due_on=due,
        details=details,
    )


def overdue_loan(
    *, loan: int, number: str, title: str, borrower: str, keeper: str, due_on: date, mass_out: Decimal
) -> Cause:
    """A lent lot that should be back; `keeper` is "" for one of the studio's."""
    return Cause(
        kind=OVERDUE_LOAN,
        key=str(loan),
        subject="lot",
        name=number,
        sentence=(
            f"{borrower} was to bring back lot {number}, {title}, by {on_day(due_on)}; it went out with "
            f"{figure(mass_out)} g and is {f'kept by {keeper}' if keeper else 'the studio’s'}."
        ),
        urgency=Urgency.SOON,
        due_on=due_on,
        details={"borrower": borrower, "keeper": keeper, "mass_out": str(mass_out), "title": title},
    )
