"""Lots past their day that open batches still claim."""

from datetime import date, datetime
from decimal import Decimal

from inventory.calc.alert_causes import expired_claimed
from inventory.models import Claim, ClaimState
from studio.kernel.causes import Cause
from studio.models import Studio

Row = tuple[int, str, str, date, Decimal]


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such lot, with the batches; one statement."""
    claims = Claim.objects.of(studio).filter(
        state=ClaimState.OPEN, lot__expires_on__lt=now.date(), lot__emptied_at=None
    )
    batches: dict[Row, list[str]] = {}
    for lot, number, title, day, claimed, purpose in claims.order_by("lot_id", "id").values_list(
        "lot_id", "lot__number", "lot__title", "lot__expires_on", "lot__reserved", "purpose"
    ):
        if day is not None:
            batches.setdefault((lot, number, title, day, claimed), []).append(purpose)
    return [
        expired_claimed(
            lot=lot, number=number, title=title, expires_on=day, claimed=claimed, batches=purposes
        )
        for (lot, number, title, day, claimed), purposes in batches.items()
    ]
