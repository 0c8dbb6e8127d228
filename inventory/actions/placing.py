"""Putting lots in their place: shelf, keeper, label and container, and what is noted of them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from inventory.models import Lot
from studio.actions.changing import change_fields
from studio.models import Member

CHANGEABLE = ("title", "shelf", "keeper", "tare", "capacity_ml", "expires_on", "note")


def change_lot(
    *, by: Member, now: datetime, lot: Lot, changes: Mapping[str, Any], expected: int | None = None
) -> Lot:
    """Change what a person may say of a lot; its mass and contents are changed only by the ledger.

    Raises `StaleEdition`.
    """
    return change_fields(
        by=by,
        at=now,
        row=lot,
        subject="lot",
        name=lot.number,
        changes={field: value for field, value in changes.items() if field in CHANGEABLE},
        expected=expected,
    )
