"""Claims that their lots no longer cover."""

from datetime import datetime

from django.db.models import F

from inventory.calc.alert_causes import short_claim
from inventory.models import Lot
from inventory.queries.shelf import claims_on
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such claim; one statement when there is none, two otherwise."""
    lots = list(Lot.objects.of(studio).filter(reserved__gt=F("on_hand")).order_by("id"))
    return [
        short_claim(
            claim=standing.claim.id,
            number=standing.claim.lot.number,
            title=standing.claim.lot.title,
            batch=standing.claim.purpose,
            wanted=standing.claim.mass,
            short=standing.short,
            whose=str(standing.claim.by),
        )
        for standing in (claims_on(lots) if lots else [])
        if standing.short > 0
    ]
