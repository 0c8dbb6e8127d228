"""Lots on hold."""

from datetime import datetime

from inventory.calc.alert_causes import hold
from inventory.models import Lot
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each lot on hold that holds something; one statement."""
    rows = Lot.objects.of(studio).open().filter(held_at__isnull=False).order_by("id")
    return [
        hold(lot=lot, number=number, title=title, since=since, reason=reason, claimed=claimed)
        for lot, number, title, since, reason, claimed in rows.values_list(
            "id", "number", "title", "held_at", "hold_reason", "reserved"
        )
        if since is not None
    ]
