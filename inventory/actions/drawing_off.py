"""Drawing some of a lot off into a container of its own: a vial to smell, or another lot of the same kind."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from inventory.actions.keeping import refuse_unasked
from inventory.actions.ledger import Posting, Shortage, lock_numbered, post, refuse_held
from inventory.actions.lots import Share, add_lots, refuse_expired
from inventory.calc.wording import figure
from inventory.models import Lot, LotContent, LotKind, Reason, Shelf
from studio.kernel.moments import happened
from studio.kernel.work import work
from studio.models import Member


@dataclass(frozen=True, slots=True, kw_only=True)
class Container:
    """What a drawn-off amount is put into, and where it goes."""

    kind: LotKind = LotKind.VIAL
    title: str = ""
    tare: Decimal | None = None
    capacity_ml: Decimal | None = None
    shelf: Shelf | None = None
    keeper: Member | None = None
    note: str = ""


def draw_off(
    *,
    by: Member,
    now: datetime,
    number: str,
    mass: Decimal,
    container: Container | None = None,
    at: datetime | None = None,
    expired_reason: str = "",
    reason: Reason = Reason.DRAWN_OFF,
) -> Lot:
    """Move `mass` grams of a lot into a new lot with the same contents; returns the new lot.

    Raises `Shortage` when more is wanted than is available, `LotOnHold`, `LotExpired` without a reason, or
    `KeeperNotAsked` when another's lot gives less than that unasked.
    """
    into = container or Container()
    when = happened(at, now)
    with work():
        source = lock_numbered(studio=by.studio, numbers=[number])[number]
        refuse_held([source])
        refuse_expired(lots=[source], on=when.date(), reason=expired_reason)
        refuse_unasked(by=by, purpose="", wants={source.id: mass}, lots={source.id: source})
        if mass > source.available:
            raise Shortage(
                f"Lot {number} has {figure(source.available)} g available; {figure(mass)} g cannot be drawn off.",
                shortages=[{"lot": number, "wanted": mass, "available": source.available}],
            )
        [drawn] = add_lots(
            by=by, now=now, lots=[_drawn(source, into, mass, when)], contents=[_present_contents(source)]
        )
        post(
            by=by,
            now=now,
            postings=[
                Posting(
                    mass=mass,
                    reason=reason,
                    at=when,
                    source=source,
                    target=drawn,
                    why=expired_reason,
                )
            ],
        )
    return drawn


def _drawn(source: Lot, into: Container, mass: Decimal, at: datetime) -> Lot:
    return Lot(
        kind=into.kind,
        title=into.title or source.title,
        material_id=source.material_id,
        solvent_id=source.solvent_id,
        declared_strength=source.declared_strength,
        actual_strength=source.actual_strength,
        strength_u=source.strength_u,
        made_mass=mass,
        tare=into.tare,
        capacity_ml=into.capacity_ml,
        shelf=into.shelf,
        keeper=into.keeper,
        cost_per_gram=source.cost_per_gram,
        made_in=source.made_in,
        made_at=at,
        expires_on=source.expires_on,
        note=into.note,
    )


def _present_contents(source: Lot) -> dict[int, Share]:
    rows = LotContent.objects.filter(lot=source, revision=source.contents_revision).order_by("id")
    return {row.material_id: Share(row.fraction, row.uncertainty) for row in rows}
