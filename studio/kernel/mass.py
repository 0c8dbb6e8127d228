"""Mass and strength as values: exact decimals with a fixed step, and the named roundings to them.

A mass is a `Decimal` of grams on a grid of one microgram; the database keeps it as an integer of
micrograms and JSON as a decimal string. A strength or fraction is a `Decimal` between 0 and 1 with nine
places. Nothing here rounds silently: `exact_mass` refuses finer input, the `nearest_*` functions round and
say so by their name.
"""

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import TypeVar

from studio.kernel.errors import Invalid

MICROGRAM = Decimal("0.000001")
STRENGTH_STEP = Decimal("0.000000001")
ZERO_MASS = Decimal("0.000000")
LARGEST_MASS = Decimal("1000000")
"""One tonne: nothing in a scent studio is heavier, and every sum stays far inside 64 bits."""

Key = TypeVar("Key")


class BadNumber(Invalid):
    """A text that is no number, or a number outside what the quantity can be."""

    code = "bad-number"
    title = "Not a usable number"


def finite_decimal(value: str | int | Decimal, what: str) -> Decimal:
    """`value` as a finite `Decimal`, never minus zero; raises `BadNumber` for anything else, floats and booleans too."""
    if isinstance(value, bool) or not isinstance(value, (str, int, Decimal)):
        raise BadNumber(f'Give {what} as a decimal number in quotes, such as "2.5".')
    if isinstance(value, str) and len(value) > 40:
        raise BadNumber(f"Give {what} with at most 40 characters.")
    if isinstance(value, str) and ("_" in value or not value.isascii()):
        raise BadNumber(f"{what[:1].upper()}{what[1:]} is not a number; write it like 2.5.")
    try:
        number = Decimal(value)
    except InvalidOperation:
        hint = " Use a point, not a comma." if isinstance(value, str) and "," in value else ""
        raise BadNumber(f"{what[:1].upper()}{what[1:]} is not a number; write it like 2.5.{hint}") from None
    if not number.is_finite():
        raise BadNumber(f"{what[:1].upper()}{what[1:]} must be a finite number.")
    if abs(number) > Decimal("1e15"):
        raise BadNumber(f"{what[:1].upper()}{what[1:]} is far too large.")
    return number.copy_abs() if number == 0 else number


def exact_mass(value: str | int | Decimal, what: str = "the mass") -> Decimal:
    """Grams, not negative, on the microgram grid; finer or larger input raises `BadNumber`."""
    if isinstance(value, Decimal) and value.same_quantum(MICROGRAM) and ZERO_MASS <= value <= LARGEST_MASS:
        return value.copy_abs()
    number = finite_decimal(value, what)
    name = f"{what[:1].upper()}{what[1:]}"
    if number < 0:
        raise BadNumber(f"{name} cannot be negative.")
    if number > LARGEST_MASS:
        raise BadNumber(f"{name} cannot exceed {LARGEST_MASS} g.")
    rounded = number.quantize(MICROGRAM)
    if rounded != number:
        raise BadNumber(f"{name} is finer than a microgram (0.000001 g).")
    return rounded


def positive_mass(value: str | int | Decimal, what: str = "the mass") -> Decimal:
    """Like `exact_mass`, and above zero."""
    mass = exact_mass(value, what)
    if mass == 0:
        raise BadNumber(f"{what[:1].upper()}{what[1:]} must be more than zero.")
    return mass


def exact_strength(value: str | int | Decimal, what: str = "the strength") -> Decimal:
    """A mass fraction above 0 and at most 1 with at most nine places; else raises `BadNumber`."""
    number = finite_decimal(value, what)
    name = f"{what[:1].upper()}{what[1:]}"
    if not 0 < number <= 1:
        raise BadNumber(f"{name} is a mass fraction above 0 and at most 1 (0.1 means 10 %), not {number}.")
    rounded = number.quantize(STRENGTH_STEP)
    if rounded != number:
        raise BadNumber(f"{name} has more than nine decimal places.")
    return rounded


def nearest_mass(grams: Decimal) -> Decimal:
    """Rounded half-even to the microgram: for computed targets, which no balance resolves further."""
    return grams.quantize(MICROGRAM, rounding=ROUND_HALF_EVEN)


def nearest_fraction(fraction: Decimal) -> Decimal:
    """Rounded half-even to nine places: for computed strengths and contents."""
    return fraction.quantize(STRENGTH_STEP, rounding=ROUND_HALF_EVEN)


def micrograms(grams: Decimal) -> int:
    """The exact integer of micrograms of a mass that lies on the grid; raises `BadNumber` otherwise."""
    scaled = grams.scaleb(6)
    whole = int(scaled)
    if whole != scaled:
        raise BadNumber(f"{grams} g is finer than a microgram.")
    return whole


def from_micrograms(count: int) -> Decimal:
    """Grams, six places, of a count of micrograms."""
    return Decimal(count).scaleb(-6)


def fractions_summing_to_one(shares: Mapping[Key, Decimal], order: Sequence[Key]) -> dict[Key, Decimal]:
    """`shares` (any positive weights) as nine-place fractions whose sum is exactly 1.

    Each is rounded down, and the missing units of 1e-9 go to the largest remainders, ties by `order`
    (the largest-remainder method), so the result is within 1e-9 of the unrounded value and deterministic.
    Raises `BadNumber` when the weights do not add up to something positive.
    """
    total = sum(shares.values(), Decimal(0))
    if total <= 0:
        raise BadNumber("Fractions need something positive to be shares of.")
    units: dict[Key, int] = {}
    rests: list[tuple[Decimal, int, Key]] = []
    for place, key in enumerate(order):
        exact = shares[key] / total * 10**9
        units[key] = int(exact)
        rests.append((units[key] - exact, place, key))
    missing = 10**9 - sum(units.values())
    for _, _, key in sorted(rests, key=lambda rest: rest[:2])[:missing]:
        units[key] += 1
    return {key: Decimal(units[key]).scaleb(-9).quantize(STRENGTH_STEP) for key in order}
