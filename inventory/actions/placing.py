"""Putting lots in their place: shelf, keeper, label and container, and what is noted of them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from inventory.actions.keeping import refuse_other_than_keeper
from inventory.models import Lot
from studio.actions.changing import change_fields
from studio.kernel.errors import Invalid
from studio.models import Member

CHANGEABLE = ("title", "shelf", "keeper", "ask_above", "tare", "capacity_ml", "expires_on", "note")
KEEPERS_OWN = {"keeper", "ask_above"}


class NoKeeperToAsk(Invalid):
    """A limit beyond which the keeper is asked, on a lot that has none."""

    code = "no-keeper-to-ask"
    title = "The lot has no keeper"


def change_lot(
    *, by: Member, now: datetime, lot: Lot, changes: Mapping[str, Any], expected: int | None = None
) -> Lot:
    """Change what a person may say of a lot; its mass and contents are changed only by the ledger.

    Who keeps it and what goes unasked is for its keeper to say; a lot that becomes the studio's goes unasked
    altogether. Raises `StaleEdition`, `NotTheKeeper`, `NoKeeperToAsk`.
    """
    wanted = {field: value for field, value in changes.items() if field in CHANGEABLE}
    if any(wanted[field] != getattr(lot, field) for field in KEEPERS_OWN & wanted.keys()):
        refuse_other_than_keeper(lot, by)
    if wanted.get("keeper", lot.keeper) is None:
        if wanted.get("ask_above") is not None:
            sentence = "Nobody keeps this lot, so nobody can be asked; leave the limit out or name a keeper."
            raise NoKeeperToAsk(sentence, errors={"ask_above": [sentence]})
        wanted |= {"ask_above": None} if lot.ask_above is not None else {}
    return change_fields(
        by=by,
        at=now,
        row=lot,
        subject="lot",
        name=lot.number,
        changes=wanted,
        expected=expected,
    )
