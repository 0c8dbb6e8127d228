"""Which lots a wanted amount is taken from: first what expires first, then what is open already, then by id.

Lots of one material differ in strength and age. What is wanted is odorant, so each lot gives the mass that its actual
strength asks for. One lot that serves all of it goes before two, so that nothing is poured twice without need. A set of
lots can be poured without a crumb exactly when the sum of their smallest pours does not exceed what is wanted and the
sum of what they hold does not fall short of it; the first such set in claim order is found by search. Taking greedily
and mending the last pour was rejected: it leaves crumbs where a later pair of lots has none.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_DOWN, Decimal, localcontext

from inventory.calc.wording import figure
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import LARGEST_MASS, MICROGRAM, nearest_mass

_DIGITS = 40
_FAR = date.max
NOTHING = Decimal(0)
ROUNDING_OF_CONTENTS = Decimal("0.000001")
"""Contents are rounded to nine places each, so their sum may pass 1 by this much."""


class BadLots(Invalid):
    """Lots that cannot be what they say; every fault at once."""

    code = "bad-lots"
    title = "These lots cannot be planned with"


class BadAmount(Invalid):
    """A wanted amount or smallest pour that is no usable number."""

    code = "bad-amount"
    title = "Not a usable amount"


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """A lot as plans see it: `strength` by its actual contents, `solvents` the fraction of each, masses in grams."""

    id: int
    number: str
    material: int
    strength: Decimal
    solvents: Mapping[int, Decimal] = field(hash=False)
    available: Decimal
    expires_on: date | None = None
    opened: bool = False
    held: bool = False
    cost_per_gram: Decimal | None = None

    def usable(self, on: date) -> bool:
        """Neither on hold, nor expired by that day, nor empty for new claims."""
        return self.available > 0 and not self.unusable_because(on)

    def unusable_because(self, on: date) -> str:
        """Why it may not be used on that day without being allowed by name; empty when it may."""
        if self.held:
            return "is on hold"
        if self.expires_on is not None and self.expires_on < on:
            return f"expired on {self.expires_on.isoformat()}"
        return ""


@dataclass(frozen=True, slots=True)
class Take:
    """Grams to take of one lot; `flagged` when that is less than the smallest sensible pour."""

    lot: int
    mass: Decimal
    flagged: bool = False


@dataclass(frozen=True, slots=True)
class Split:
    """What is taken from which lot, and grams of odorant that the lots do not have."""

    takes: tuple[Take, ...]
    missing: Decimal


def in_claim_order(
    lots: Sequence[ShelfLot], on: date, allowed: Collection[int] = frozenset()
) -> list[ShelfLot]:
    """The usable lots, the one that expires first before the others, then the open ones, then by id.

    `allowed` names lots that count as usable although they are expired or on hold.
    """
    usable = [lot for lot in lots if lot.usable(on) or (lot.id in allowed and lot.available > 0)]
    return sorted(usable, key=lambda lot: (lot.expires_on or _FAR, not lot.opened, lot.id))


def split_across(
    odorant: Decimal,
    lots: Sequence[ShelfLot],
    *,
    on: date,
    smallest: Decimal,
    allowed: Collection[int] = frozenset(),
) -> Split:
    """Take `odorant` grams of odorant from lots of one material in claim order, no pour below `smallest` grams.

    Where crumbs cannot be helped, they are taken all the same and flagged. Masses are on the microgram grid, so the
    odorant may differ from what is wanted by less than a microgram a pour. Raises `BadAmount`, `BadLots`.
    """
    check_lots(lots)
    if not (odorant.is_finite() and 0 < odorant <= LARGEST_MASS):
        raise BadAmount(f"The wanted amount must be more than 0 g, and no tonne; it is given as {odorant}.")
    if not is_stock(smallest):
        raise BadAmount(
            f"The smallest pour cannot be below 0 g or finer than a microgram; it is given as {smallest}."
        )
    order = in_claim_order(lots, on, allowed)
    if len({lot.material for lot in order}) > 1:
        raise BadLots("The lots to take from are of several materials; give those of one.")
    with localcontext(prec=_DIGITS):
        whole = _one_lot(odorant, order, smallest) or _several(odorant, order, smallest)
        if whole:
            return Split(whole, NOTHING)
        return _with_crumbs(odorant, order, smallest)


def is_stock(grams: Decimal) -> bool:
    """Whether a lot can hold that: 0 g or more, no tonne, on the microgram."""
    return grams.is_finite() and 0 <= grams <= LARGEST_MASS and grams % MICROGRAM == 0


def check_lots(lots: Sequence[ShelfLot]) -> None:
    """Raise `BadLots` with every fault of the lots: numbers that cannot be, contents above 1, an id given twice."""
    faults = Faults()
    if len({lot.id for lot in lots}) < len(lots):
        faults.add("lots", "A lot is given twice.")
    for lot in lots:
        if not (lot.strength.is_finite() and 0 < lot.strength <= 1):
            faults.add(
                f"lots.{lot.id}.strength",
                f"The strength of lot {lot.number} is a mass fraction above 0 and at most 1, not {lot.strength}.",
            )
            continue
        if not is_stock(lot.available):
            faults.add(
                f"lots.{lot.id}.available",
                f"Lot {lot.number} cannot have {figure(lot.available)} g available; it is 0 g or more, on the microgram.",
            )
        others = [share for solvent, share in lot.solvents.items() if solvent != lot.material]
        if not all(share.is_finite() and share >= 0 for share in lot.solvents.values()):
            faults.add(f"lots.{lot.id}.solvents", f"A solvent of lot {lot.number} has no usable share.")
        elif lot.strength + sum(others, NOTHING) > 1 + ROUNDING_OF_CONTENTS:
            faults.add(
                f"lots.{lot.id}.solvents",
                f"Strength and solvents of lot {lot.number} add up to "
                f"{figure(lot.strength + sum(others, NOTHING))}, more than the whole of it.",
            )
    if faults:
        raise BadLots(next(iter(faults.errors.values()))[0], errors=faults.errors)


def _one_lot(odorant: Decimal, order: Sequence[ShelfLot], smallest: Decimal) -> tuple[Take, ...]:
    """The first lot that serves all of it in one pour of at least `smallest`, if there is one."""
    for lot in order:
        mass = max(nearest_mass(odorant / lot.strength), MICROGRAM)
        if smallest <= mass <= lot.available:
            return (Take(lot.id, mass),)
    return ()


def _several(odorant: Decimal, order: Sequence[ShelfLot], smallest: Decimal) -> tuple[Take, ...]:
    """The first set of lots in claim order that serves all of it without a crumb, poured as full as that allows."""
    weighable = [lot for lot in order if lot.available >= smallest]
    chosen = _first_set(odorant, weighable, smallest)
    takes = []
    left = odorant
    for place, lot in enumerate(chosen):
        kept_for_later = sum((smallest * later.strength for later in chosen[place + 1 :]), NOTHING)
        if place < len(chosen) - 1:
            mass = min(lot.available, mass_rounded_down((left - kept_for_later) / lot.strength))
        else:
            # The roundings before it may have left the last lot a microgram more than it holds.
            mass = min(lot.available, max(smallest, nearest_mass(left / lot.strength)))
        takes.append(Take(lot.id, nearest_mass(mass)))
        left -= mass * lot.strength
    return tuple(takes)


def mass_rounded_down(grams: Decimal) -> Decimal:
    """Down to the microgram: so that what is left for the later lots never falls below their smallest pours."""
    return grams.quantize(MICROGRAM, rounding=ROUND_DOWN)


def _first_set(odorant: Decimal, lots: Sequence[ShelfLot], smallest: Decimal) -> list[ShelfLot]:
    """The first set, an earlier lot rather than a later one, with Σ smallest·q ≤ odorant ≤ Σ available·q."""
    chosen: list[ShelfLot] = []

    def search(place: int, least: Decimal, most: Decimal) -> bool:
        if most >= odorant:
            return True
        if most + _most_from(lots[place:], odorant - least, smallest) < odorant:
            return False
        for at in range(place, len(lots)):
            lot = lots[at]
            if least + smallest * lot.strength > odorant:
                continue
            chosen.append(lot)
            if search(at + 1, least + smallest * lot.strength, most + lot.available * lot.strength):
                return True
            chosen.pop()
            if most + _most_from(lots[at + 1 :], odorant - least, smallest) < odorant:
                return False
        return False

    return chosen if search(0, NOTHING, NOTHING) else []


def _most_from(lots: Sequence[ShelfLot], budget: Decimal, smallest: Decimal) -> Decimal:
    """Never less odorant than any set of these lots gives whose smallest pours together keep within `budget`.

    Two bounds, the smaller of which cuts the search short: as many of the richest lots as could fit if all were as weak
    as the weakest, and the lots with most in them filled up to the budget, the last one in part.
    """
    rich = sorted((lot.available * lot.strength for lot in lots), reverse=True)
    if smallest == 0:
        return sum(rich, NOTHING)
    count = 0
    room = budget
    for strength in sorted(lot.strength for lot in lots):
        room -= smallest * strength
        if room < 0:
            break
        count += 1
    part = NOTHING
    room = budget
    for lot in sorted(lots, key=lambda lot: lot.available, reverse=True):
        share = min(Decimal(1), room / (smallest * lot.strength))
        part += share * lot.available * lot.strength
        room -= share * smallest * lot.strength
        if room <= 0:
            break
    return min(sum(rich[:count], NOTHING), part)


def _with_crumbs(odorant: Decimal, order: Sequence[ShelfLot], smallest: Decimal) -> Split:
    """All that can be had in claim order, lots that hold a smallest pour before those that do not; crumbs flagged."""
    takes = list(_one_lot(odorant, order, NOTHING))
    left = NOTHING if takes else odorant
    for lot in sorted(order, key=lambda lot: lot.available < smallest):
        mass = min(lot.available, nearest_mass(left / lot.strength))
        if mass > 0:
            takes.append(Take(lot.id, nearest_mass(mass)))
            left -= mass * lot.strength
    supply = sum((lot.available * lot.strength for lot in order), NOTHING)
    return Split(
        tuple(Take(take.lot, take.mass, take.mass < smallest) for take in takes),
        max(nearest_mass(odorant - supply), NOTHING),
    )
