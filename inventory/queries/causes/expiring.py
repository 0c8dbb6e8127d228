"""Lots whose day is near or past."""

from datetime import datetime

from django.db.models import Q

from inventory.calc.alert_causes import expiring
from inventory.models import Lot
from inventory.queries.finding import SOON
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such lot that holds something; one statement.

    A lot past its day with claims on it is another cause.
    """
    today = now.date()
    rows = Lot.objects.of(studio).open().filter(expires_on__lte=today + SOON)
    rows = rows.exclude(Q(expires_on__lt=today) & Q(reserved__gt=0)).order_by("expires_on", "id")
    return [
        expiring(lot=lot, number=number, title=title, expires_on=day, on_hand=on_hand, today=today)
        for lot, number, title, day, on_hand in rows.values_list(
            "id", "number", "title", "expires_on", "on_hand"
        )
        if day is not None
    ]
