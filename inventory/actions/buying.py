"""Suppliers and what they offer: who sells which pack of what, at what price, within how many days."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from inventory.actions.pars import check_dilution
from inventory.actions.places import NameTaken
from inventory.models import Material, MaterialKind, Offer, Supplier
from studio.actions.changing import change_fields, refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults
from studio.kernel.work import work
from studio.models import Member

ONE = Decimal(1)
USUAL_DELIVERY_DAYS = 7


class OfferWithdrawn(Conflict):
    """The supplier offers this no more."""

    code = "offer-withdrawn"
    title = "The offer is withdrawn"


class OfferedAlready(Conflict):
    """The same pack from the same number of packs on stands among the supplier's offers already."""

    code = "offered-already"
    title = "Offered already"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedPack:
    """A pack of `pack` grams; `price` of one, in the studio's currency, when at least `from_packs` are bought."""

    supplier: Supplier
    material: Material
    pack: Decimal
    price: Decimal
    from_packs: int = 1
    strength: Decimal = ONE
    solvent: Material | None = None
    delivery_days: int | None = None
    article: str = ""


def add_supplier(
    *, by: Member, now: datetime, name: str, delivery_days: int = USUAL_DELIVERY_DAYS, note: str = ""
) -> Supplier:
    """Write down somebody bottles are bought from. Raises `NameTaken`."""
    with work():
        _refuse_taken(by, name)
        supplier = Supplier.objects.create(
            studio_id=by.studio_id, name=name, delivery_days=delivery_days, note=note
        )
        record(by=by, at=now, subject="supplier", name=name, verb="added")
    return supplier


def change_supplier(
    *, by: Member, now: datetime, supplier: Supplier, changes: Mapping[str, Any], expected: int | None
) -> Supplier:
    """Change a supplier's name, usual days of delivery or note. Raises `NameTaken`, `StaleEdition`."""
    _refuse_taken(by, changes.get("name", supplier.name), besides=supplier)
    return change_fields(
        by=by,
        at=now,
        row=supplier,
        subject="supplier",
        name=supplier.name,
        changes=changes,
        expected=expected,
    )


def add_offer(*, by: Member, now: datetime, offered: OfferedPack) -> Offer:
    """Write down what a supplier offers. Raises `Invalid`, `OfferedAlready`."""
    faults = Faults()
    if offered.material.kind == MaterialKind.BASE:
        faults.add("material", f"{offered.material} is a base of this studio; nobody sells it.")
    check_dilution(
        material=offered.material, strength=offered.strength, solvent=offered.solvent, faults=faults
    )
    faults.refuse_if_any()
    same = Offer.objects.of(by.studio_id).filter(
        supplier=offered.supplier,
        material=offered.material,
        strength=offered.strength,
        solvent=offered.solvent,
        pack=offered.pack,
        from_packs=offered.from_packs,
        withdrawn_at=None,
    )
    with work():
        if same.exists():
            raise OfferedAlready(
                f"{offered.supplier} already offers {offered.pack} g of {offered.material} "
                f"from {offered.from_packs} on. Change that offer instead."
            )
        offer = Offer.objects.create(
            studio_id=by.studio_id,
            **{name: getattr(offered, name) for name in OfferedPack.__dataclass_fields__},
        )
        record(
            by=by,
            at=now,
            subject="material",
            name=offered.material.name,
            verb="offer",
            changes={offered.supplier.name: [None, _told(offer)]},
        )
    return offer


def change_offer(
    *, by: Member, now: datetime, offer: Offer, changes: Mapping[str, Any], expected: int | None
) -> Offer:
    """Change the price, the days of delivery or the article of an offer. Raises `OfferWithdrawn`, `StaleEdition`."""
    refuse_withdrawn(offer)
    return change_fields(
        by=by,
        at=now,
        row=offer,
        subject="offer",
        name=f"{offer.supplier.name} {offer.material.name}",
        changes=changes,
        expected=expected,
    )


def withdraw_offer(
    *, by: Member, now: datetime, offer: Offer, why: str = "", expected: int | None = None
) -> Offer:
    """Buy by this offer no more; what was bought by it stays known. Raises `OfferWithdrawn`, `StaleEdition`."""
    with work():
        locked = Offer.objects.select_for_update(no_key=True, of=("self",)).get(pk=offer.pk)
        refuse_stale(locked, expected, "The offer")
        refuse_withdrawn(locked)
        locked.withdrawn_at = now
        locked.edition += 1
        locked.save(update_fields=["withdrawn_at", "edition"])
        record(
            by=by,
            at=now,
            subject="material",
            name=offer.material.name,
            verb="offer",
            changes={offer.supplier.name: [_told(locked), None]},
            why=why,
        )
    return locked


def refuse_withdrawn(offer: Offer) -> None:
    """Raise `OfferWithdrawn` for an offer that nobody can buy by any more."""
    if offer.withdrawn_at is not None:
        raise OfferWithdrawn(f"{offer.supplier} offers this pack of {offer.material} no more.")


def _told(offer: Offer) -> str:
    return f"{offer.pack} g at {offer.price} from {offer.from_packs}"


def _refuse_taken(by: Member, name: str, besides: Supplier | None = None) -> None:
    others = Supplier.objects.of(by.studio_id).filter(name__iexact=name)
    if besides is not None:
        others = others.exclude(pk=besides.pk)
    if others.exists():
        raise NameTaken(f"There is already a supplier “{name}”.")
