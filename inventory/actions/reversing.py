"""Answering a wrong movement: by another one that takes it back, names it and says why.

What was weighed into a batch is part of a sealed record and is answered there, by an amendment; here only movements
whose target has not been used since can be taken back.
"""

from collections.abc import Mapping
from datetime import datetime

from inventory.actions.ledger import Posting, lock_lots, post, poured_and_not_booked
from inventory.calc.wording import figure
from inventory.models import PASSING_ON, Lot, Movement, Reason
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member

REVERSIBLE = (
    Reason.RECEIVED,
    Reason.DRAWN_OFF,
    Reason.COUNTED_UP,
    Reason.COUNTED_DOWN,
    Reason.DISCARDED,
    Reason.HANDED_OVER,
)


class NotReversible(Conflict):
    """This movement cannot be taken back, and the sentence says what can be done instead."""

    code = "not-reversible"
    title = "Cannot be taken back"


def reverse_movement(*, by: Member, now: datetime, movement_id: int, why: str) -> Movement:
    """Post the opposite of a movement. Raises `NotReversible`, or `NotEnoughOnHand` when the mass is gone."""
    with work():
        wrong: Movement = Movement.objects.one(by.studio, "movement", id=movement_id)
        ids = [lot_id for lot_id in (wrong.source_id, wrong.target_id) if lot_id is not None]
        lots = lock_lots(studio=by.studio, ids=ids)
        _refuse_if_final(wrong)
        _refuse_if_used_since(wrong, lots)
        source = lots.get(wrong.target_id or 0)
        if source is not None and wrong.mass > source.available and source.reserved > 0:
            raise NotReversible(
                f"Lot {source.number} has claims on what would be taken back: {figure(source.reserved)} g are reserved."
            )
        [movement] = post(
            by=by,
            now=now,
            postings=[
                Posting(
                    mass=wrong.mass,
                    reason=Reason.REVERSED,
                    at=now,
                    source=source,
                    target=lots.get(wrong.source_id or 0),
                    why=why,
                    reverses=wrong,
                )
            ],
        )
    return movement


def _refuse_if_final(wrong: Movement) -> None:
    if Movement.objects.filter(reverses=wrong).exists():
        raise NotReversible("This movement has already been taken back.")
    if wrong.reason == Reason.WEIGHED_IN:
        raise NotReversible(
            f"This was weighed into batch {wrong.batch}, whose record is sealed; amend the batch instead."
        )
    if wrong.reason == Reason.EVAPORATED:
        raise NotReversible("Evaporation changed the contents; count the lot again instead.")
    if wrong.reason not in REVERSIBLE:
        raise NotReversible(f"A movement “{wrong.get_reason_display()}” cannot be taken back.")


def _refuse_if_used_since(wrong: Movement, lots: Mapping[int, Lot]) -> None:
    """What was made of a lot keeps its ancestry, and what goes back must be what it was when it left."""
    dried = Movement.objects.filter(source_id__in=lots, reason=Reason.EVAPORATED, id__gt=wrong.id)
    if dried.exists():
        raise NotReversible("The lot has changed its contents since, by evaporation; count it again instead.")
    target = lots.get(wrong.target_id or 0)
    if target is None or wrong.reason not in PASSING_ON:
        return
    poured_on = Movement.objects.filter(source=target, reason__in=PASSING_ON, reversed_by__isnull=True)
    if poured_on.exists() or poured_and_not_booked(target):
        raise NotReversible(
            f"Some of lot {target.number} has been poured on since, and is traced through this movement; count the "
            "lots again instead."
        )
