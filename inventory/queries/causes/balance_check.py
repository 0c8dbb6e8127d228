"""Balances whose check is due."""

from datetime import datetime

from inventory.calc.alert_causes import balance_check
from inventory.queries.shelf import balances_of, due_for_check
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such balance in use; one statement."""
    return [
        balance_check(
            balance=balance.pk,
            name=balance.name,
            every_days=balance.check_every_days,
            last_at=balance.last_check_at,  # type: ignore[attr-defined]
            passed=bool(balance.last_check_passed),  # type: ignore[attr-defined]
        )
        for balance in due_for_check(balances_of(studio).order_by("id"), now)
    ]
