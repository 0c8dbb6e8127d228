"""How many answers a panel is to have, and what that number can find.

The number is fixed before the first tray is carried in, because a test that is ended when it looks good comes out by
chance far more often than its level says. Beside the number stands what other shares would have needed, so that it is
seen what the panel will miss.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from batches.calc.discrimination import BadTest, Method, answers_needed, fewest_significant, power
from inventory.calc.wording import percent

MOST_SERVINGS = 300
"""More trays than a studio carries for one question: three numbers on each are just what three digits give."""

SHARES = tuple(Decimal(text) for text in ("0.2", "0.3", "0.4", "0.5", "0.7"))


@dataclass(frozen=True, slots=True)
class ShareRow:
    """What one share of tellers needs; `answers` None when more than `MOST_SERVINGS`. `found` is how often the
    planned number would find it (0 to 1)."""

    share: Decimal
    answers: int | None
    found: Decimal

    @property
    def told_found(self) -> str:
        """How often it is found, in words."""
        return percent(self.found, 2)


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """A number of answers with what it is worth: the right ones that would be significant, and how often it finds
    the share it is planned for (0 to 1)."""

    method: Method
    level: Decimal
    wanted_power: Decimal
    share: Decimal
    answers: int
    needed: int | None
    found: Decimal
    rows: tuple[ShareRow, ...]

    @property
    def sentence(self) -> str:
        """The plan in plain words."""
        if self.needed is None:
            return f"With {self.answers} answers not even all right would be significant at {percent(self.level)}."
        counted = "one of the two named" if self.method.either_way else "right"
        return (
            f"{self.answers} answers: at least {self.needed} of them {counted} would be significant at "
            f"{percent(self.level)}. If {percent(self.share)} of the people truly tell the two apart, that is found "
            f"in {percent(self.found, 3)} of such panels."
        )


def panel_plan(
    method: Method, *, level: Decimal, wanted_power: Decimal, share: Decimal, answers: int | None = None
) -> PanelPlan:
    """The plan for a share of tellers to be found with `wanted_power`, or of a given number of `answers`.

    Raises `BadTest` when more than `MOST_SERVINGS` would be needed.
    """
    planned = answers or _needed(method, share, level, wanted_power)
    if planned is None or planned > MOST_SERVINGS:
        raise BadTest(
            f"More than {MOST_SERVINGS} answers would be needed to find so small a share so surely; look for a "
            f"larger share or be content with less certainty."
        )
    return PanelPlan(
        method=method,
        level=level,
        wanted_power=wanted_power,
        share=share,
        answers=planned,
        needed=fewest_significant(method, answers=planned, level=level),
        found=as_decimal(power(method, answers=planned, share=share, level=level)),
        rows=tuple(_row(method, one, level, wanted_power, planned) for one in SHARES),
    )


def _row(method: Method, share: Decimal, level: Decimal, wanted_power: Decimal, planned: int) -> ShareRow:
    found = power(method, answers=planned, share=share, level=level)
    return ShareRow(share, _needed(method, share, level, wanted_power), as_decimal(found))


def _needed(method: Method, share: Decimal, level: Decimal, wanted_power: Decimal) -> int | None:
    """The answers that are needed, None for more than a panel has."""
    most = power(method, answers=MOST_SERVINGS, share=share, level=level)
    if most < Fraction(wanted_power):
        return None
    return answers_needed(method, share=share, level=level, wanted_power=wanted_power)


def as_decimal(chance: Fraction) -> Decimal:
    """A chance with six places, for reading."""
    exact = Decimal(chance.numerator) / Decimal(chance.denominator)
    return exact.quantize(Decimal("0.000001"), rounding=ROUND_HALF_EVEN)
