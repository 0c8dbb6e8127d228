"""Purchases: noted to be ordered, ordered, and received as bottles, each step once."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from inventory.actions.buying import refuse_withdrawn
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import ON_THEIR_WAY, Lot, Offer, Purchase, PurchaseState
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member


class PurchaseIsOver(Conflict):
    """The purchase is not in a state in which this can be done."""

    code = "purchase-is-over"
    title = "Not in this state"


def note_purchase(
    *,
    by: Member,
    now: datetime,
    offer: Offer,
    packs: int,
    order_on: date | None = None,
    note: str = "",
    operation: str | None = None,
) -> Purchase:
    """Note that so many packs are to be ordered, on a day (today when left out); it is due when delivery takes so long.

    The price is that of the offer, or of the same pack from more packs on where so many are bought. Raises
    `OfferWithdrawn`.
    """
    refuse_withdrawn(offer)
    day = order_on or now.date()
    with work():
        priced = best_break(offer, packs)
        purchase = Purchase.objects.create(
            studio_id=by.studio_id,
            offer=priced,
            packs=packs,
            mass=packs * priced.pack,
            price=packs * priced.price,
            order_on=day,
            due_on=day + timedelta(days=delivery_days(priced)),
            note=note,
            by=by,
            created_at=now,
            operation=operation,
        )
        _record(by, now, purchase, "to order")
    return purchase


def best_break(offer: Offer, packs: int) -> Offer:
    """The cheapest of the supplier's offers of the same pack that so many packs reach; the offer itself at least."""
    same = Offer.objects.filter(
        supplier_id=offer.supplier_id,
        material_id=offer.material_id,
        strength=offer.strength,
        solvent_id=offer.solvent_id,
        pack=offer.pack,
        from_packs__lte=packs,
        withdrawn_at=None,
    )
    found = same.select_related("supplier", "material", "solvent").order_by("price", "id").first()
    return found or offer


def delivery_days(offer: Offer) -> int:
    """Days from ordering to arriving: the offer's own, else the supplier's usual ones."""
    return offer.supplier.delivery_days if offer.delivery_days is None else offer.delivery_days


def order_purchase(
    *,
    by: Member,
    now: datetime,
    purchase: Purchase,
    due_on: date | None = None,
    expected: int | None = None,
) -> Purchase:
    """Note that it was ordered today; it is due when the supplier says, else by the days of delivery.

    Raises `PurchaseIsOver`.
    """
    with work():
        locked = _locked(by, purchase, expected)
        if locked.state != PurchaseState.TO_ORDER:
            raise _over(locked, "ordered")
        locked.state, locked.ordered_at = PurchaseState.ORDERED, now
        locked.due_on = due_on or now.date() + timedelta(days=delivery_days(locked.offer))
        _save(locked, "state", "ordered_at", "due_on")
        _record(by, now, locked, "ordered")
    return locked


def drop_purchase(
    *, by: Member, now: datetime, purchase: Purchase, why: str = "", expected: int | None = None
) -> Purchase:
    """Give a purchase up that has not arrived. Raises `PurchaseIsOver`."""
    with work():
        locked = _locked(by, purchase, expected)
        if locked.state not in ON_THEIR_WAY:
            raise _over(locked, "dropped")
        locked.state, locked.ended_at = PurchaseState.DROPPED, now
        _save(locked, "state", "ended_at")
        _record(by, now, locked, "dropped", why)
    return locked


def receive_purchase(
    *,
    by: Member,
    now: datetime,
    purchase: Purchase,
    bottle: Bottle | None = None,
    expected: int | None = None,
) -> tuple[Purchase, list[Lot]]:
    """Receive what was bought: each pack a bottle of its own, of the pack's mass and its share of the price.

    `bottle` tells what else is known, the same of all: the supplier's lot, the day to use it by, the shelf.
    Raises `PurchaseIsOver`, and what receiving refuses.
    """
    with work():
        locked = _locked(by, purchase, expected)
        if locked.state not in ON_THEIR_WAY:
            raise _over(locked, "received")
        lots = receive_bottles(by=by, now=now, bottles=[_filled(locked, bottle)] * locked.packs)
        locked.state, locked.ended_at = PurchaseState.ARRIVED, now
        locked.arrived_as = [lot.number for lot in lots]
        _save(locked, "state", "ended_at", "arrived_as")
        _record(by, now, locked, "arrived")
    return locked, lots


def bottle_of(purchase: Purchase) -> Bottle:
    """What one pack of a purchase arrives as, before anything else is told of it."""
    offer = purchase.offer
    return Bottle(
        material=offer.material,
        mass=offer.pack,
        strength=offer.strength,
        solvent=offer.solvent,
        supplier=offer.supplier.name,
        price=(purchase.price / purchase.packs).quantize(Decimal("0.0001")),
    )


def _filled(purchase: Purchase, told: Bottle | None) -> Bottle:
    plain = bottle_of(purchase)
    if told is None:
        return plain
    fixed = ("material", "mass", "strength", "solvent", "supplier", "price")
    return replace(told, **{name: getattr(plain, name) for name in fixed})


def _locked(by: Member, purchase: Purchase, expected: int | None) -> Purchase:
    rows = Purchase.objects.select_for_update(no_key=True, of=("self",))
    locked: Purchase = rows.select_related(
        "offer", "offer__supplier", "offer__material", "offer__solvent"
    ).one(by.studio_id, "purchase", pk=purchase.pk)
    refuse_stale(locked, expected, "The purchase")
    return locked


def _over(purchase: Purchase, doing: str) -> PurchaseIsOver:
    return PurchaseIsOver(f"This purchase is {purchase.state}; it cannot be {doing} any more.")


def _save(purchase: Purchase, *fields: str) -> None:
    purchase.edition += 1
    purchase.save(update_fields=[*fields, "edition"])


def _record(by: Member, now: datetime, purchase: Purchase, verb: str, why: str = "") -> None:
    offer = purchase.offer
    record(
        by=by,
        at=now,
        subject="purchase",
        name=str(purchase.pk),
        verb=verb,
        changes={f"{offer.material} from {offer.supplier}": [None, f"{purchase.packs} × {offer.pack} g"]},
        why=why,
    )
