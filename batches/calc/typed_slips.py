"""When a typed weight has to be asked for a second time, and what kind of slip it looks like.

A reading that comes over the wire is what the balance showed. A typed one may have its point in the wrong place, so
one that leaves its line outside the allowed band, above or below, is typed twice before it is recorded; and a number
without a unit that is about a thousand times what is still to pour is most likely milligrams, and is not taken at all
until it says its unit. `batches/static/batches/bench/slips.js` asks the same before anything is sent.
"""

from dataclasses import dataclass
from decimal import Decimal

from inventory.calc.wording import figure

_NAMES = {
    10: ("ten times", "a tenth of"),
    100: ("a hundred times", "a hundredth of"),
    1000: ("a thousand times", "a thousandth of"),
}
_ABOUT = Decimal("0.2")
"""How near a ratio must be to 10, 100 or 1000 to be told as a slip of the point: within a fifth."""


@dataclass(frozen=True, slots=True)
class LineBand:
    """What a line aims at, the least and the most it may hold, and what it holds already, in grams."""

    target: Decimal
    smallest: Decimal
    largest: Decimal
    before: Decimal

    @property
    def open_mass(self) -> Decimal:
        """What is still to pour, or the whole target when nothing is."""
        return self.target - self.before if self.target > self.before else self.target


def unit_wanted(band: LineBand, mass: Decimal, unit: str) -> str:
    """The sentence that asks for a unit, "" when none is needed. `unit` is the one that was typed."""
    times = mass / band.open_mass
    if unit or not 500 < times < 2000:
        return ""
    return (
        f"{figure(mass)} without a unit is about a thousand times the {figure(band.open_mass)} g to pour. "
        f"Write {figure(mass)} mg, or {figure(mass)} g if that is what was poured."
    )


def question_about(band: LineBand, mass: Decimal) -> str:
    """The sentence that asks for a typed mass a second time, "" when it leaves its line within the band."""
    holds = band.before + mass
    if band.smallest <= holds <= band.largest:
        return ""
    if holds > band.largest:
        told = f"It would hold {figure(holds)} g; at most {figure(band.largest)} g are allowed."
    else:
        told = f"It would hold {figure(holds)} g; {figure(band.target - holds)} g would still be to pour."
    return f"{told}{_slip(band, mass)} Type the weight a second time if it is right."


def _slip(band: LineBand, mass: Decimal) -> str:
    for factor, (more, less) in _NAMES.items():
        for words, ratio in ((more, mass / band.open_mass), (less, band.open_mass / mass)):
            if abs(ratio - factor) <= factor * _ABOUT:
                return f" That is about {words} the {figure(band.open_mass)} g to pour: look where the point stands."
    return ""
