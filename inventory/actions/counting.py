"""Bringing the book back to what the container really holds: counting by weight, discarding.

A count weighs the container: gross − tare is what is there, and what open batches have already poured of it is out of
the container though not yet out of the book. A surplus is counted up. A loss is either spilled
(strength unchanged) or evaporated solvent, which leaves the odorants behind and so starts a new revision of the lot's
contents; what was made from it before keeps the old one.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Literal

from inventory.actions.ledger import NotEnoughOnHand, Posting, lock_numbered, post, poured_and_not_booked
from inventory.actions.lots import Share, write_contents
from inventory.actions.short_claims import tell_of_short_claims
from inventory.calc.contents import concentration_of_loss, evaporated, strength_of
from inventory.calc.cost import cost_per_gram_after_loss
from inventory.calc.uncertainty import UNCERTAINTY_STEP
from inventory.calc.wording import figure
from inventory.models import Lot, LotContent, MaterialKind, Reason
from studio.actions.history import record
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass import ZERO_MASS
from studio.kernel.moments import happened
from studio.kernel.work import work
from studio.models import Member

Loss = Literal["spilled", "evaporated"]
ONE = Decimal(1)
STRONGEST_FACTOR = Decimal(10_000)
"""A lot dried to less than this part of itself is a residue; its concentration would not fit its column either."""


class TareUnknown(Invalid):
    """A lot without a tare cannot be counted by its gross weight."""

    code = "tare-unknown"
    title = "Tare unknown"


class LighterThanItsContainer(Invalid):
    """A gross weight below the tare: one of the two is wrong."""

    code = "lighter-than-container"
    title = "Lighter than the empty container"


class DriedUp(Conflict):
    """So little would be left of a lot that evaporation is no account of what happened to it."""

    code = "dried-up"
    title = "Hardly anything left"


class StillClaimed(Conflict):
    """What would be discarded is claimed by open batches."""

    code = "still-claimed"
    title = "Claimed by open batches"


@dataclass(frozen=True, slots=True)
class Count:
    """What a count found: grams by the book before, grams there, and the lot afterwards."""

    lot: Lot
    book: Decimal
    found: Decimal


def count_lot(
    *,
    by: Member,
    now: datetime,
    number: str,
    gross: Decimal,
    tare: Decimal | None = None,
    loss: Loss = "spilled",
    at: datetime | None = None,
    why: str = "",
) -> Count:
    """Bring the book to gross − tare grams, plus what open batches have poured, by a movement of the difference.

    A tare given here is kept on the lot. Raises `TareUnknown`, `LighterThanItsContainer`, and for an evaporation
    `DriedUp` and what `inventory.calc.contents.evaporated` refuses.
    """
    when = happened(at, now)
    with work():
        lot = lock_numbered(studio=by.studio, numbers=[number])[number]
        elsewhere = poured_and_not_booked(lot)
        net = _net(lot, gross, tare)
        found = net + elsewhere
        book = lot.on_hand
        posting = _difference(lot, book, found, loss, when, why)
        if posting is not None:
            post(by=by, now=now, postings=[posting])
            tell_of_short_claims(by=by, now=now, lots=[lot])
        if posting is not None and posting.reason is Reason.EVAPORATED:
            _concentrate(lot, book - elsewhere, net)
        if tare is not None:
            lot.tare = tare
        lot.edition += 1
        lot.save(
            update_fields=[
                "tare",
                "contents_revision",
                "concentration",
                "actual_strength",
                "strength_u",
                "cost_per_gram",
                "edition",
            ]
        )
        record(
            by=by,
            at=now,
            subject="lot",
            name=number,
            verb="counted",
            changes={"on_hand": [str(book), str(found)]},
            why=why,
        )
    return Count(lot=lot, book=book, found=found)


def _net(lot: Lot, gross: Decimal, tare: Decimal | None) -> Decimal:
    empty = tare if tare is not None else lot.tare
    if empty is None:
        raise TareUnknown(
            f"The tare of lot {lot.number} is not known; give the mass of its empty container as well.",
            errors={"tare": ["Needed, because none is recorded for this lot."]},
        )
    if gross < empty:
        raise LighterThanItsContainer(
            f"{figure(gross)} g gross is less than the empty container of {figure(empty)} g; weigh again.",
            errors={"gross": [f"Less than the tare of {figure(empty)} g."]},
        )
    return gross - empty


def _difference(
    lot: Lot, book: Decimal, found: Decimal, loss: Loss, at: datetime, why: str
) -> Posting | None:
    if found == book:
        return None
    if found > book:
        return Posting(mass=found - book, reason=Reason.COUNTED_UP, at=at, target=lot, why=why)
    reason = Reason.EVAPORATED if loss == "evaporated" else Reason.COUNTED_DOWN
    return Posting(mass=book - found, reason=reason, at=at, source=lot, why=why)


def _concentrate(lot: Lot, book: Decimal, found: Decimal) -> None:
    """Start the next revision of the contents, with the solvent that is gone taken out."""
    rows = list(
        LotContent.objects.filter(lot=lot, revision=lot.contents_revision)
        .select_related("material")
        .order_by("id")
    )
    solvents = {row.material_id for row in rows if row.material.kind == MaterialKind.SOLVENT}
    after = evaporated(
        contents={row.material_id: row.fraction for row in rows}, solvents=solvents, book=book, actual=found
    )
    if found == 0:
        return
    factor = concentration_of_loss(book=book, actual=found)
    if lot.concentration * factor >= STRONGEST_FACTOR:
        raise DriedUp(
            f"Of lot {lot.number}, {figure(found)} g would be left of {figure(book)} g: that is a residue, not the liquid it was. "
            "Count it as spilled, and discard what is left.",
            lot=lot.number,
        )
    lot.contents_revision += 1
    lot.concentration = (lot.concentration * factor).quantize(Decimal("1e-12"))
    if lot.cost_per_gram is not None:
        lot.cost_per_gram = cost_per_gram_after_loss(cost_per_gram=lot.cost_per_gram, book=book, actual=found)
    stronger = factor if after.keys() - solvents else ONE
    if lot.actual_strength is not None:
        lot.actual_strength = strength_of(after, _declared(lot, after, solvents))
    if lot.strength_u is not None:
        lot.strength_u = _scaled(lot.strength_u, stronger)
    uncertainties = {row.material_id: row.uncertainty for row in rows}
    shares = {
        material_id: Share(fraction, _scaled(uncertainties[material_id], stronger))
        for material_id, fraction in after.items()
    }
    write_contents([(lot, shares)])


def _declared(lot: Lot, contents: Collection[int], solvents: Collection[int]) -> Collection[int]:
    """The materials whose share is the strength: the lot's own where it is in it, else all that is no solvent."""
    if lot.material_id is not None and lot.material_id in contents:
        return [lot.material_id]
    return [material_id for material_id in contents if material_id not in solvents]


def _scaled(uncertainty: Decimal | None, factor: Decimal) -> Decimal | None:
    """Rounded like every uncertainty, to twelve places."""
    return None if uncertainty is None else (uncertainty * factor).quantize(UNCERTAINTY_STEP)


def discard(
    *,
    by: Member,
    now: datetime,
    number: str,
    mass: Decimal | None = None,
    why: str,
    despite_claims: bool = False,
    at: datetime | None = None,
) -> Lot:
    """Discard `mass` grams of a lot, or all that is left of it.

    Raises `StillClaimed` when open claims would fall short and the caller has not said that it knows, and
    `NotEnoughOnHand`.
    """
    when = happened(at, now)
    with work():
        lot = lock_numbered(studio=by.studio, numbers=[number])[number]
        there = lot.on_hand - poured_and_not_booked(lot)
        gone = there if mass is None else mass
        if gone <= ZERO_MASS:
            return lot
        if gone > there:
            raise NotEnoughOnHand(
                f"The container of lot {number} holds {figure(max(there, ZERO_MASS))} g, beside what open batches have poured; "
                f"{figure(gone)} g cannot be discarded.",
                lot=number,
                wanted=gone,
                on_hand=max(there, ZERO_MASS),
            )
        if gone > lot.available and lot.reserved > 0 and not despite_claims:
            raise StillClaimed(
                f"Of lot {number}, {figure(lot.reserved)} g are claimed by open batches and {figure(lot.available)} g are free. "
                "Void or replan those batches, or discard despite the claims.",
                lot=number,
                reserved=lot.reserved,
                available=lot.available,
            )
        post(
            by=by,
            now=now,
            postings=[Posting(mass=gone, reason=Reason.DISCARDED, at=when, source=lot, why=why)],
        )
        tell_of_short_claims(by=by, now=now, lots=[lot])
    return lot
