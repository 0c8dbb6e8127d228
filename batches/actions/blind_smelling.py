"""Vials smelled blind: set up under three-digit codes, found by code, revealed by who set them up.

Codes are drawn by the system's chance and rows are written in the order of the codes, so that no id, count or order
says which lot is which. Whoever sets a set up has stuck the labels on and knows; so they do not smell it.
"""

import secrets
from collections.abc import Sequence
from datetime import datetime

from batches.models import BlindSet, BlindVial
from inventory.models import Lot
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults, Forbidden, Invalid
from studio.kernel.work import work
from studio.models import Member

MOST_BLIND = 60
FEWEST_BLIND = 2
CODES = range(100, 1000)


class NotYourSet(Forbidden):
    """Only who set vials up blind reveals them."""

    code = "not-your-set"
    title = "Set up by somebody else"


class SetRevealed(Conflict):
    """The codes of the set stand for known lots already."""

    code = "set-revealed"
    title = "Revealed before"


class KnowsTheCodes(Forbidden):
    """Who set the vials up knows what they hold."""

    code = "knows-the-codes"
    title = "You know what is in them"


class SetOnHold(Conflict):
    """A lot of the set was put on hold; which one is not told."""

    code = "set-on-hold"
    title = "The set rests"


class NoSuchCode(Invalid):
    """No vial of the set bears this code."""

    code = "no-such-code"
    title = "No vial bears this code"


def set_up_blind(*, by: Member, now: datetime, title: str, lots: Sequence[Lot]) -> BlindSet:
    """Put vials under codes; a lot may stand in a set twice, to try the noses. Raises `Invalid` with every fault."""
    _check(title, lots)
    with work():
        blind_set = BlindSet.objects.create(studio_id=by.studio_id, title=title, by=by, at=now)
        codes = secrets.SystemRandom().sample(CODES, len(lots))
        BlindVial.objects.bulk_create(
            BlindVial(studio_id=by.studio_id, blind_set=blind_set, lot=lot, code=code)
            for code, lot in sorted(zip(codes, lots, strict=True), key=lambda pair: pair[0])
        )
        changes = {"vials": [None, len(lots)]}
        record(by=by, at=now, subject="blind set", name=str(blind_set.pk), verb="set up", changes=changes)
    return blind_set


def reveal_blind(*, by: Member, now: datetime, set_id: int, why: str = "") -> BlindSet:
    """Tell everybody what the codes stand for, once and for good. Raises `NotYourSet`, `SetRevealed`."""
    with work():
        blind_set = locked_set(by, set_id)
        if blind_set.by_id != by.pk:
            raise NotYourSet(f"{blind_set.by} set these vials up; only they reveal them.")
        refuse_revealed(blind_set)
        blind_set.revealed_at = now
        blind_set.save(update_fields=["revealed_at"])
        record(by=by, at=now, subject="blind set", name=str(blind_set.pk), verb="revealed", why=why)
    return blind_set


def vial_to_smell(by: Member, set_id: int, code: int) -> BlindVial:
    """The vial of an unrevealed set that `by` may smell; inside the work of a strip or a note, with the set locked.

    A held lot stops the whole set, in the same words for every code. Raises `KnowsTheCodes`, `SetRevealed`, `SetOnHold`,
    `NoSuchCode`.
    """
    blind_set = locked_set(by, set_id)
    if blind_set.by_id == by.pk:
        raise KnowsTheCodes("You set these vials up and know what is in them; let others smell them.")
    refuse_revealed(blind_set)
    vials = {vial.code: vial for vial in blind_set.vials.select_related("lot", "blind_set")}
    if any(vial.lot.held_at is not None for vial in vials.values()):
        raise SetOnHold(f"Something in “{blind_set.title}” was put on hold. Nobody is to smell any of it.")
    if code not in vials:
        sentence = f"No vial of “{blind_set.title}” bears {code}; read its label again."
        raise NoSuchCode(sentence, errors={"code": [sentence]})
    return vials[code]


def locked_set(by: Member, set_id: int) -> BlindSet:
    """The studio's set of this id, locked until the transaction ends."""
    rows = BlindSet.objects.select_for_update(no_key=True, of=("self",)).select_related("by__person")
    found: BlindSet = rows.one(by.studio_id, "blind set", id=set_id)
    return found


def refuse_revealed(blind_set: BlindSet) -> None:
    """Raise `SetRevealed` when everybody may know the codes."""
    if blind_set.revealed_at is not None:
        raise SetRevealed(
            f"“{blind_set.title}” was revealed; its vials can be smelled under their lot numbers now."
        )


def _check(title: str, lots: Sequence[Lot]) -> None:
    faults = Faults()
    if not title.strip():
        faults.add("title", "Give the set a title that says nothing of what is in it.")
    if not FEWEST_BLIND <= len(lots) <= MOST_BLIND:
        faults.add("lots", f"Choose between {FEWEST_BLIND} and {MOST_BLIND} vials.")
    for lot in lots:
        if lot.held_at is not None:
            faults.add("lots", f"Lot {lot.number} is on hold: {lot.hold_reason} Nobody is to smell it.")
        elif lot.emptied_at is not None:
            faults.add("lots", f"Lot {lot.number} is empty.")
    faults.refuse_if_any()
