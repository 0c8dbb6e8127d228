"""Receiving bottles: the one way by which mass comes into the studio from outside."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from inventory.actions.ledger import Posting, post
from inventory.actions.lots import Share, add_lots
from inventory.calc.cost import nearest_cost_per_gram
from inventory.calc.wording import figure
from inventory.models import Lot, LotKind, Material, MaterialKind, Reason, Shelf
from studio.actions.history import record_each
from studio.kernel.errors import Faults
from studio.kernel.mass import nearest_fraction
from studio.kernel.moments import InTheFuture, happened
from studio.kernel.work import work
from studio.models import Member

ONE = Decimal(1)
DEAREST = Decimal(1_000_000)
"""What a gram may cost at most; nothing does, and the column holds no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """What is told of a bottle when it is received. Masses in grams, price in the studio's currency."""

    material: Material
    mass: Decimal
    strength: Decimal = ONE
    solvent: Material | None = None
    purity: Decimal | None = None
    tare: Decimal | None = None
    capacity_ml: Decimal | None = None
    supplier: str = ""
    supplier_lot: str = ""
    price: Decimal | None = None
    received_at: datetime | None = None
    expires_on: date | None = None
    shelf: Shelf | None = None
    keeper: Member | None = None
    title: str = ""
    note: str = ""


def receive_bottles(
    *, by: Member, now: datetime, bottles: Sequence[Bottle], places: Sequence[str] | None = None
) -> list[Lot]:
    """Enter bottles into the studio, each as a lot of its own, all or none.

    Raises `Invalid` with the faults of every bottle; `places` says what to put before the field of a fault, per
    bottle, such as `12.` for line 12 of a sheet.
    """
    faults = Faults()
    times = []
    for bottle, prefix in zip(bottles, places or [""] * len(bottles), strict=True):
        _check(bottle, faults, prefix)
        times.append(_received(bottle, now, faults, prefix))
    faults.refuse_if_any()
    with work():
        lots = add_lots(
            by=by,
            now=now,
            lots=[_lot(bottle, at) for bottle, at in zip(bottles, times, strict=True)],
            contents=[_contents(bottle) for bottle in bottles],
        )
        post(
            by=by,
            now=now,
            postings=[
                Posting(mass=bottle.mass, reason=Reason.RECEIVED, at=lot.made_at, target=lot)
                for lot, bottle in zip(lots, bottles, strict=True)
            ],
        )
        record_each(
            by=by,
            at=now,
            subject="lot",
            verb="received",
            things={lot.number: {"mass": [None, lot.made_mass]} for lot in lots},
        )
    return lots


def _check(bottle: Bottle, faults: Faults, prefix: str) -> None:
    if bottle.material.kind == MaterialKind.BASE:
        faults.add(f"{prefix}material", f"{bottle.material} is a base of this studio; make it by a batch.")
    if bottle.strength < 1 and bottle.solvent is None:
        faults.add(
            f"{prefix}solvent", "A bottle below full strength needs the solvent that makes up the rest."
        )
    if bottle.strength == 1 and bottle.solvent is not None:
        faults.add(f"{prefix}solvent", "A neat bottle (strength 1) has no solvent; leave it out.")
    if bottle.solvent is not None and bottle.solvent.kind != MaterialKind.SOLVENT:
        faults.add(f"{prefix}solvent", f"{bottle.solvent} is not a solvent.")
    if bottle.solvent is not None and bottle.solvent == bottle.material:
        faults.add(f"{prefix}solvent", "A material cannot be its own solvent.")
    if bottle.price is not None and bottle.price / bottle.mass >= DEAREST:
        faults.add(
            f"{prefix}price",
            f"{bottle.price} for {figure(bottle.mass)} g is more than {DEAREST} a gram; check both.",
        )


def _received(bottle: Bottle, now: datetime, faults: Faults, prefix: str) -> datetime:
    try:
        return happened(bottle.received_at, now)
    except InTheFuture as fault:
        faults.add(f"{prefix}received_at", fault.message)
        return now


def _lot(bottle: Bottle, at: datetime) -> Lot:
    return Lot(
        kind=LotKind.BOTTLE,
        title=bottle.title or bottle.material.name,
        material=bottle.material,
        solvent=bottle.solvent,
        declared_strength=bottle.strength,
        actual_strength=bottle.strength,
        strength_u=_purity_u(bottle),
        made_mass=bottle.mass,
        tare=bottle.tare,
        capacity_ml=bottle.capacity_ml,
        shelf=bottle.shelf,
        keeper=bottle.keeper,
        supplier=bottle.supplier,
        supplier_lot=bottle.supplier_lot,
        purity=bottle.purity,
        cost_per_gram=_cost_per_gram(bottle),
        made_at=at,
        expires_on=bottle.expires_on or _shelf_life(bottle, at),
        note=bottle.note,
    )


def _contents(bottle: Bottle) -> dict[int, Share]:
    shares = {bottle.material.id: Share(bottle.strength, _purity_u(bottle))}
    if bottle.solvent is not None:
        shares[bottle.solvent.id] = Share(ONE - bottle.strength, _purity_u(bottle))
    return shares


def _purity_u(bottle: Bottle) -> Decimal | None:
    """Standard uncertainty of the strength from the declared purity.

    A purity P is read as P ± (1 − P), rectangular, so u = (1 − P)/√3 (EURACHEM/CITAC QUAM, example A1).
    """
    if bottle.purity is None:
        return None
    return nearest_fraction(bottle.strength * (ONE - bottle.purity) / Decimal(3).sqrt())


def _cost_per_gram(bottle: Bottle) -> Decimal | None:
    if bottle.price is None:
        return None
    return nearest_cost_per_gram(bottle.price / bottle.mass)


def _shelf_life(bottle: Bottle, at: datetime) -> date | None:
    days = bottle.material.shelf_life_days
    return None if days is None else at.date() + timedelta(days=days)
