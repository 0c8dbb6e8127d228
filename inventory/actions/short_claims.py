"""Telling at once of claims that a verb has left short, in its own transaction."""

from collections.abc import Iterable
from datetime import datetime

from inventory.calc.alert_causes import short_claim
from inventory.calc.shortfall import HeldClaim, shortfalls
from inventory.models import Claim, ClaimState, Lot
from studio.actions.alerts import raise_alerts
from studio.kernel.causes import Cause
from studio.models import Member


def tell_of_short_claims(*, by: Member, now: datetime, lots: Iterable[Lot]) -> None:
    """Raise an alert for every claim that these locked lots, as they now are, do not cover. No statement if they do.

    An alert whose claim is covered again is closed by the regular run.
    """
    short = {lot.id: lot for lot in lots if lot.reserved > lot.on_hand}
    if not short:
        return
    claims: dict[int, list[Claim]] = {}
    rows = Claim.objects.filter(lot_id__in=short, state=ClaimState.OPEN).select_related("by__person")
    for claim in rows.order_by("lot_id", "id"):
        claims.setdefault(claim.lot_id, []).append(claim)
    causes = [cause for lot_id, held in claims.items() for cause in _causes(short[lot_id], held)]
    raise_alerts(studio=by.studio_id, at=now, causes=causes)


def _causes(lot: Lot, claims: list[Claim]) -> list[Cause]:
    lacking = shortfalls(lot.on_hand, [HeldClaim(claim.id, claim.mass, claim.poured) for claim in claims])
    return [
        short_claim(
            claim=claim.id,
            number=lot.number,
            title=lot.title,
            batch=claim.purpose,
            wanted=claim.mass,
            short=lacking[claim.id],
            whose=str(claim.by),
        )
        for claim in claims
        if lacking[claim.id] > 0
    ]
