"""The recall report: everything a lot touched, how much of it went there, where that stands now, and what is open on it."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from batches.models import Batch
from batches.queries.tickets import link_to
from inventory.models import Lot, Movement, Reason
from inventory.queries.shelf import claims_on, lots_of
from inventory.queries.trace import trace_lot
from studio.kernel.mass import ZERO_MASS
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class RecalledLot:
    """A lot that the recalled one went into: how much of it, as made, and how much of this lot is left, in grams."""

    generation: int
    lot: str
    kind: str
    title: str
    made_in: str
    mass: Decimal
    made_mass: Decimal
    on_hand: Decimal
    shelf: str
    keeper: str
    held: bool


@dataclass(frozen=True, slots=True)
class RecalledPour:
    """Grams that passed from one lot into another."""

    source: str
    target: str
    mass: Decimal


@dataclass(frozen=True, slots=True)
class OpenClaim:
    """An open batch that has claimed, or poured, some of an affected lot."""

    batch: str
    title: str
    lot: str
    mass: Decimal
    poured: Decimal
    by: str


@dataclass(frozen=True, slots=True)
class Departure:
    """Mass of an affected lot that left the studio's shelf for good."""

    lot: str
    title: str
    reason: str
    mass: Decimal
    at: datetime
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class Recall:
    """Everything a lot touched. Masses in grams; `reached` is nearest generation first."""

    studio: str
    lot: str
    link: str
    kind: str
    title: str
    supplier: str
    supplier_lot: str
    made_in: str
    made_at: datetime
    made_mass: Decimal
    on_hand: Decimal
    shelf: str
    keeper: str
    held_since: datetime | None
    hold_reason: str
    reached: tuple[RecalledLot, ...]
    pours: tuple[RecalledPour, ...]
    claims: tuple[OpenClaim, ...]
    departures: tuple[Departure, ...]

    @property
    def still_there(self) -> Decimal:
        """Grams of all affected lots that stand on the shelves."""
        return self.on_hand + sum((one.on_hand for one in self.reached), ZERO_MASS)


def recall_of(*, studio: Studio, number: str) -> Recall:
    """The report on the lot of this number. Six statements, whatever it touched; raises `NoSuchThing`."""
    lot: Lot = lots_of(studio).one(studio, "lot", number=number)
    trace = trace_lot(lot=lot, direction="forward")
    ids = [lot.id, *(traced.lot.id for traced in trace.lots)]
    lots = {one.id: one for one in lots_of(studio).filter(id__in=ids)}
    return Recall(
        studio=studio.name,
        lot=lot.number,
        link=link_to(lot),
        kind=lot.kind,
        title=lot.title,
        supplier=lot.supplier,
        supplier_lot=lot.supplier_lot,
        made_in=lot.made_in,
        made_at=lot.made_at,
        made_mass=lot.made_mass,
        on_hand=lot.on_hand,
        shelf=_shelf(lot),
        keeper=_keeper(lot),
        held_since=lot.held_at,
        hold_reason=lot.hold_reason,
        reached=tuple(
            RecalledLot(
                generation=traced.generation,
                lot=traced.lot.number,
                kind=traced.lot.kind,
                title=traced.lot.title,
                made_in=traced.lot.made_in,
                mass=traced.mass,
                made_mass=traced.lot.made_mass,
                on_hand=traced.lot.on_hand,
                shelf=_shelf(lots[traced.lot.id]),
                keeper=_keeper(lots[traced.lot.id]),
                held=traced.lot.held,
            )
            for traced in trace.lots
        ),
        pours=tuple(RecalledPour(pour.source, pour.target, pour.mass) for pour in trace.pours),
        claims=_claims(studio, list(lots.values())),
        departures=_departures(ids),
    )


def _claims(studio: Studio, lots: list[Lot]) -> tuple[OpenClaim, ...]:
    standing = [one.claim for one in claims_on(lots)]
    numbers = {claim.purpose for claim in standing}
    titles = dict(Batch.objects.of(studio).filter(number__in=numbers).values_list("number", "title"))
    return tuple(
        OpenClaim(
            batch=claim.purpose,
            title=titles.get(claim.purpose, ""),
            lot=claim.lot.number,
            mass=claim.mass,
            poured=claim.poured,
            by=claim.by.person.name,
        )
        for claim in sorted(standing, key=lambda one: (one.purpose, one.lot.number))
    )


def _departures(lot_ids: list[int]) -> tuple[Departure, ...]:
    """What left by being discarded or handed over; losses at counting and evaporation went nowhere."""
    rows = Movement.objects.filter(
        source_id__in=lot_ids,
        target__isnull=True,
        reason__in=(Reason.DISCARDED, Reason.HANDED_OVER),
        reversed_by__isnull=True,
    )
    return tuple(
        Departure(
            lot=row.source.number,
            title=row.source.title,
            reason=row.reason,
            mass=row.mass,
            at=row.at,
            by=row.by.person.name,
            why=row.why,
        )
        for row in rows.select_related("source", "by__person").order_by("at", "id")
        if row.source is not None
    )


def _shelf(lot: Lot) -> str:
    return lot.shelf.name if lot.shelf else ""


def _keeper(lot: Lot) -> str:
    return lot.keeper.person.name if lot.keeper else ""
