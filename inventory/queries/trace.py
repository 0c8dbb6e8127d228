"""Tracing: what a lot was made from, back to the bottles, and what a bottle went into, forward."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.calc.lineage import Share, shares_back, shares_forward
from inventory.models import Lot
from inventory.models.ancestry import Direction, LotCard, PouredMass, lot_cards, pours_among


@dataclass(frozen=True, slots=True)
class TracedLot:
    """One lot of a trace.

    `mass` is grams as made: tracing back, how much of this lot stands behind the whole of the traced one; tracing
    forward, how much of the traced lot went into this one. `generation` counts makings away from the traced lot.
    """

    lot: LotCard
    mass: Decimal
    generation: int


@dataclass(frozen=True, slots=True)
class TracedPour:
    """Grams that passed from one lot, by number, into another."""

    source: str
    target: str
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Trace:
    """The lots behind or beyond a lot, nearest generation first, and the pours that join them."""

    lot: LotCard
    direction: Direction
    lots: list[TracedLot]
    pours: list[TracedPour]


def trace_lot(*, lot: Lot, direction: Direction) -> Trace:
    """The whole ancestry or progeny of a lot with masses. Two statements, whatever its depth."""
    poured = pours_among([lot.id], direction)
    reached = {lot.id, *(pour.source for pour in poured), *(pour.target for pour in poured)}
    cards = {card.id: card for card in lot_cards(reached)}
    return Trace(
        lot=cards[lot.id],
        direction=direction,
        lots=[
            TracedLot(cards[share.lot], share.mass, share.generation)
            for share in _shares(lot, direction, poured, cards.values())
        ],
        pours=[
            TracedPour(cards[pour.source].number, cards[pour.target].number, pour.mass) for pour in poured
        ],
    )


def _shares(
    lot: Lot, direction: Direction, pours: Sequence[PouredMass], cards: Iterable[LotCard]
) -> Sequence[Share]:
    if direction == "back":
        return shares_back(target=lot.id, mass=lot.made_mass, pours=pours)
    return shares_forward(source=lot.id, pours=pours, made_mass={card.id: card.made_mass for card in cards})
