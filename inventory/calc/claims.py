"""Which lots a wanted amount is taken from: first what expires first, then what is open already.

Lots of one material differ in strength and age. What is wanted is odorant, so a lot of another actual strength gives
another mass. A lot is taken from only when at least the smallest sensible pour comes out of it, and a rest too small to
pour is left to the next lot by shortening the pour before it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal, localcontext

from studio.kernel.mass import MICROGRAM, nearest_mass

_DIGITS = 40
_FAR = date.max


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """A lot as plans see it: `strength` by its actual contents, `solvents` the fraction of each, masses in grams."""

    id: int
    number: str
    material: int
    strength: Decimal
    solvents: Mapping[int, Decimal]
    available: Decimal
    expires_on: date | None = None
    opened: bool = False
    held: bool = False
    cost_per_gram: Decimal | None = None

    def usable(self, on: date) -> bool:
        """Neither on hold, nor expired by that day, nor empty for new claims."""
        return not self.held and self.available > 0 and (self.expires_on is None or self.expires_on >= on)


@dataclass(frozen=True, slots=True)
class Take:
    """Grams to take of one lot."""

    lot: int
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Split:
    """What is taken from which lot, and grams of odorant that the lots do not have."""

    takes: tuple[Take, ...]
    missing: Decimal


def in_claim_order(lots: Sequence[ShelfLot], on: date) -> list[ShelfLot]:
    """The usable lots, the one that expires first before the others, then the open ones, then by id."""
    usable = [lot for lot in lots if lot.usable(on)]
    return sorted(usable, key=lambda lot: (lot.expires_on or _FAR, not lot.opened, lot.id))


def split_across(odorant: Decimal, lots: Sequence[ShelfLot], *, on: date, smallest: Decimal) -> Split:
    """Take `odorant` grams of odorant from lots in claim order, no pour below `smallest` grams where it can be helped.

    One lot that serves all of it goes before two, so that nothing is poured twice without need.
    """
    order = in_claim_order(lots, on)
    with localcontext(prec=_DIGITS):
        for lot in order:
            mass = nearest_mass(odorant / lot.strength)
            if mass <= lot.available:
                return Split((Take(lot.id, mass),), Decimal(0))
        takes: list[Take] = []
        left = odorant
        for lot in order:
            if left <= 0:
                break
            most = min(lot.available, nearest_mass(left / lot.strength))
            if most < smallest and takes:
                continue
            mass = most.quantize(MICROGRAM, rounding=ROUND_DOWN)
            takes.append(Take(lot.id, mass))
            left -= mass * lot.strength
    return Split(tuple(takes), max(nearest_mass(left), Decimal(0)))
