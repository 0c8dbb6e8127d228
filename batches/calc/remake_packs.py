"""Which packs to buy: the cheapest whole packs of one supplier that cover a mass, price breaks included.

Exact, by branch and bound: for each supplier the kinds of pack are tried in turn, the cheapest per gram first, and a
branch is left when even the best rate of the kinds to come cannot bring it below the best found. More packs than needed
are tried where a price break begins. Of equal costs the least mass wins, then the fewest packs, then the supplier's id.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from batches.calc.remake_request import Offer
from studio.kernel.mass import micrograms


@dataclass(frozen=True, slots=True)
class Packs:
    """The packs of one order as (offer, count), their mass in micrograms, cost, and days until all have come."""

    supplier: int
    counts: tuple[tuple[Offer, int], ...]
    mass: int
    cost: Decimal
    delivery_days: int


def cheapest_packs(offers: Sequence[Offer], needed: int) -> Packs:
    """The cheapest packs that hold at least `needed` micrograms. Raises ValueError when no offer is given."""
    suppliers: dict[int, list[Offer]] = {}
    for offer in offers:
        suppliers.setdefault(offer.supplier, []).append(offer)
    found = (_from_supplier(supplier, suppliers[supplier], needed) for supplier in sorted(suppliers))
    return min(found, key=_rank)


def _rank(packs: Packs) -> tuple[Decimal, int, int, int]:
    return (packs.cost, packs.mass, sum(count for _, count in packs.counts), packs.supplier)


def _from_supplier(supplier: int, offers: Sequence[Offer], needed: int) -> Packs:
    kinds: dict[int, list[Offer]] = {}
    for offer in sorted(offers, key=lambda one: (one.from_packs, one.price, one.id)):
        kinds.setdefault(micrograms(offer.pack), []).append(offer)
    ordered = sorted(kinds.items(), key=lambda kind: (_best_rate(*kind), -kind[0]))
    best: list[Packs] = []
    _search(supplier, ordered, max(needed, 1), (), best)
    return best[0]


def _search(
    supplier: int,
    kinds: Sequence[tuple[int, list[Offer]]],
    needed: int,
    chosen: tuple[tuple[Offer, int], ...],
    best: list[Packs],
) -> None:
    """Complete `chosen` from `kinds` by all ways that may beat `best[0]`, which is replaced by what does."""
    if needed <= 0:
        packs = _summed(supplier, chosen)
        if not best or _rank(packs) < _rank(best[0]):
            best[:] = [packs]
        return
    if not kinds:
        return
    if best:
        so_far = sum((offer.price * count for offer, count in chosen), Decimal(0))
        if Fraction(so_far) + needed * min(_best_rate(*kind) for kind in kinds) > Fraction(best[0].cost):
            return
    (pack, tiers), rest = kinds[0], kinds[1:]
    for count in _counts(pack, tiers, needed, only_all=not rest):
        if count == 0:
            _search(supplier, rest, needed, chosen, best)
            continue
        offer = [tier for tier in tiers if tier.from_packs <= count][-1]
        _search(supplier, rest, needed - count * pack, (*chosen, (offer, count)), best)


def _counts(pack: int, tiers: Sequence[Offer], needed: int, *, only_all: bool) -> Iterator[int]:
    """Counts worth trying, the covering one first: a price break beyond it, then fewer, down to none."""
    covering = max(-(-needed // pack), tiers[0].from_packs)
    yield covering
    yield from (tier.from_packs for tier in tiers if tier.from_packs > covering)
    if not only_all:
        yield from range(covering - 1, tiers[0].from_packs - 1, -1)
        yield 0


def _best_rate(pack: int, tiers: Sequence[Offer]) -> Fraction:
    return Fraction(min(tier.price for tier in tiers)) / pack


def _summed(supplier: int, chosen: Sequence[tuple[Offer, int]]) -> Packs:
    return Packs(
        supplier,
        tuple(chosen),
        sum(micrograms(offer.pack) * count for offer, count in chosen),
        sum((offer.price * count for offer, count in chosen), Decimal(0)),
        max(offer.delivery_days for offer, _ in chosen),
    )


def on_time(offers: Sequence[Offer], days: int) -> list[Offer]:
    """The offers delivered within `days`."""
    return [offer for offer in offers if offer.delivery_days <= days]
