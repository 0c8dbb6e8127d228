"""Making a stock: how much of the parent and of the solvent, and what stands in the way.

The arithmetic of one step is exact but for one rounding to the microgram. Where the parent would be too
little to weigh well, `batches.calc.dilution_routes` finds the way through intermediates; the values and the
refusals both share are here. Parents are given by their actual strength, in the solvent of the stock or neat,
so that no other solvent is carried in; a step draws on one lot.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.calc.wording import figure, percent
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass import (
    BadNumber,
    exact_mass,
    exact_strength,
    nearest_fraction,
    nearest_mass,
    positive_mass,
)


class BadStock(Invalid):
    """Strength, size, parents or tolerances that no stock can be made from."""

    code = "bad-stock"
    title = "This stock cannot be asked for"


class BeyondSolubility(Conflict):
    """The strength asked for is more than the solvent dissolves."""

    code = "beyond-solubility"
    title = "Stronger than the solvent dissolves"


class NoStrongerParent(Conflict):
    """Nothing given is stronger than the stock to be made."""

    code = "no-stronger-parent"
    title = "No parent is strong enough"


class NotEnoughParent(Conflict):
    """A way exists, but no single parent has the mass it would take."""

    code = "not-enough-parent"
    title = "Not enough of any parent"


class NoGoodRoute(Conflict):
    """No way weighs well enough and is certain enough at this size; `works_at` names a size that is."""

    code = "no-good-route"
    title = "No route weighs well enough"


@dataclass(frozen=True, slots=True)
class ParentLot:
    """A lot a stock can be made from: actual `strength`, `available` grams, in order of preference.

    `smallest` is the least mass of it that can be handled well (a resin, a powder) beside what the balance
    asks; `relative_uncertainty` is the standard uncertainty of its strength divided by it.
    """

    lot: str
    strength: Decimal
    available: Decimal
    smallest: Decimal = Decimal(0)
    relative_uncertainty: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class StockRecipe:
    """One step: grams of parent and of solvent, and the strength they give (nine places)."""

    parent_mass: Decimal
    solvent_mass: Decimal
    strength: Decimal


def stock_recipe(
    *, strength: Decimal, size: Decimal, parent_strength: Decimal, solubility: Decimal | None = None
) -> StockRecipe:
    """Grams of a parent of `parent_strength` and of solvent that make `size` grams of `strength`.

    parent = size · strength / parent_strength, rounded to the microgram; solvent is the rest, so both add up
    to the size exactly. Raises `NoStrongerParent`, `BeyondSolubility` (a mass fraction of the material in
    the solvent, where known) or `BadNumber`.
    """
    exact_strength(strength)
    exact_strength(parent_strength, "the strength of the parent")
    positive_mass(size, "the size")
    check_solubility(strength, solubility)
    if parent_strength < strength:
        raise NoStrongerParent(
            f"A parent of {percent(parent_strength, 9)} cannot give {percent(strength, 9)}; take a stronger one, "
            f"or make at most {percent(parent_strength, 9)}.",
            strongest=parent_strength,
        )
    parent_mass = nearest_mass(size * strength / parent_strength)
    if parent_mass == 0:
        raise BadStock(
            f"{figure(size)} g of {percent(strength, 9)} would need less than a microgram of the parent; "
            f"make more or start from a weaker one."
        )
    return StockRecipe(
        parent_mass, size - parent_mass, nearest_fraction(parent_mass * parent_strength / size)
    )


def check_solubility(strength: Decimal, solubility: Decimal | None) -> None:
    """Refuse, as `BeyondSolubility`, a strength above what the solvent dissolves; None means not known."""
    if solubility is None:
        return
    if not (solubility.is_finite() and 0 < solubility <= 1):
        raise BadStock(f"A solubility is a mass fraction above 0 and at most 1, not {solubility}.")
    if strength > solubility:
        raise BeyondSolubility(
            f"The solvent dissolves at most {percent(solubility, 9)} of this material; {percent(strength, 9)} would "
            f"leave solids behind. Make at most {percent(solubility, 9)}, or take another solvent.",
            solubility=solubility,
            strength=strength,
        )


def check_parents(parents: Sequence[ParentLot]) -> None:
    """Refuse, as `BadStock`, parents that are none, given twice or impossible; every fault at once."""
    if not parents:
        raise BadStock("Give at least one lot to make the stock from.")
    faults: dict[str, list[str]] = {}
    seen: set[str] = set()
    for place, parent in enumerate(parents):
        sentences = _parent_faults(parent)
        if parent.lot in seen:
            sentences.append(f"Lot {parent.lot} is given twice.")
        seen.add(parent.lot)
        if sentences:
            faults[f"parents.{place}"] = sentences
    if faults:
        raise BadStock(next(iter(faults.values()))[0], errors=faults)


def _parent_faults(parent: ParentLot) -> list[str]:
    sentences = []
    for check, value, what in (
        (exact_strength, parent.strength, "strength"),
        (exact_mass, parent.available, "available mass"),
        (exact_mass, parent.smallest, "smallest mass"),
    ):
        try:
            check(value, f"the {what} of lot {parent.lot}")
        except BadNumber as fault:
            sentences.append(fault.message)
    relative = parent.relative_uncertainty
    if not (relative.is_finite() and 0 <= relative < 1):
        sentences.append(
            f"The relative uncertainty of lot {parent.lot} lies from 0 to below 1, not {relative}."
        )
    return sentences
