"""Whose a lot is, and what others may take of it without asking.

A keeper may say of a lot how many grams go unasked (`ask_above`). Beyond that, a batch may claim of it only what the
keeper granted for that batch, and what is to be drawn off is asked for. What was really poured at the bench is
recorded all the same: the physical truth wins.
"""

from collections.abc import Mapping
from decimal import Decimal

from inventory.calc.wording import figure
from inventory.models import Lot, LotRequest, RequestState, Wish
from studio.kernel.errors import Conflict, Forbidden
from studio.kernel.mass import ZERO_MASS
from studio.models import Member


class KeeperNotAsked(Conflict):
    """More of another's lot than goes unasked; `lots` lists each with what is wanted and what goes unasked."""

    code = "keeper-not-asked"
    title = "Ask the keeper first"


class NotTheKeeper(Forbidden):
    """Only the keeper of a lot decides about it, or an owner once the keeper has left the studio."""

    code = "not-the-keeper"
    title = "Not yours to decide"


def refuse_other_than_keeper(lot: Lot, by: Member) -> None:
    """Raise `NotTheKeeper` when `by` does not decide about the lot."""
    if not lot.is_decided_by(by):
        raise NotTheKeeper(f"Lot {lot.number} is kept by {lot.keeper}; only {lot.keeper} can decide this.")


def refuse_unasked(
    *, by: Member, purpose: str, wants: Mapping[int, Decimal], lots: Mapping[int, Lot]
) -> None:
    """Raise `KeeperNotAsked` when `by` takes more of another's lot than goes unasked or was granted for `purpose`.

    `wants` are grams in all per lot id. Costs a statement only where a keeper's limit is met.
    """
    beyond = beyond_unasked(by=by, purpose=purpose, wants=wants, lots=lots)
    if not beyond:
        return
    unasked = [lots[lot_id] for lot_id in sorted(beyond)]
    named = "; ".join(
        f"{lot.number} of {lot.keeper}: {figure(beyond[lot.id])} g wanted, {figure(lot.ask_above or ZERO_MASS)} g "
        f"go unasked"
        for lot in unasked
    )
    raise KeeperNotAsked(
        f"Ask the keeper first. {named}.",
        lots=[
            {"lot": lot.number, "wanted": beyond[lot.id], "unasked": lot.ask_above, "keeper": str(lot.keeper)}
            for lot in unasked
        ],
    )


def beyond_unasked(
    *, by: Member, purpose: str, wants: Mapping[int, Decimal], lots: Mapping[int, Lot]
) -> dict[int, Decimal]:
    """Those of the `wants` (grams per lot id) that neither go unasked nor were granted for `purpose`."""
    beyond = {lot_id: wanted for lot_id, wanted in wants.items() if _beyond(lots[lot_id], by, wanted)}
    if not (beyond and purpose):
        return beyond
    granted = _granted(purpose, beyond)
    return {lot_id: wanted for lot_id, wanted in beyond.items() if wanted > granted.get(lot_id, ZERO_MASS)}


def _beyond(lot: Lot, by: Member, wanted: Decimal) -> bool:
    return lot.ask_above is not None and lot.keeper_id != by.id and wanted > lot.ask_above


def _granted(purpose: str, lot_ids: Mapping[int, Decimal]) -> dict[int, Decimal]:
    """The most that was granted of each lot for a batch."""
    rows = LotRequest.objects.filter(
        lot_id__in=lot_ids, purpose=purpose, wish=Wish.CLAIM, state=RequestState.GRANTED
    )
    granted: dict[int, Decimal] = {}
    for row in rows.order_by("id"):
        assert row.granted_mass is not None
        granted[row.lot_id] = max(row.granted_mass, granted.get(row.lot_id, ZERO_MASS))
    return granted
