"""How far each pour of a batch lies from its target, drawn: the band that is allowed, its middle, and a mark.

Every line is drawn to the same scale, so that the eye finds the one that is far off. A mark beyond the scale stands at
its end and is drawn as an arrow; the figure beside it says how far it really is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.queries.batches import BenchLine

WIDE = 1000
MIDDLE = WIDE // 2
BANDS_SHOWN = Decimal(3)
"""The scale goes to this many times the tolerance, farther when nothing lies so far off."""
LEAST_BAND = 12


@dataclass(frozen=True, slots=True)
class Drawn:
    """A line with its drawing: where the band begins and how wide it is, where the mark stands; None before any pour."""

    bench: BenchLine
    relative: Decimal | None
    band_from: int
    band: int
    mark: int | None
    beyond: bool


def drawn_deviations(lines: Sequence[BenchLine], tolerance: Decimal) -> list[Drawn]:
    """All lines of a batch to one scale, in their order."""
    relatives = [_relative(one) for one in lines]
    farthest = max((abs(one) for one in relatives if one is not None), default=Decimal(0))
    scale = min(max(farthest, tolerance * Decimal("1.5")), tolerance * BANDS_SHOWN) or Decimal(1)
    half = max(LEAST_BAND, round(tolerance / scale * MIDDLE))
    return [
        Drawn(
            bench=one,
            relative=relative,
            band_from=MIDDLE - half,
            band=2 * half,
            mark=None if relative is None else _place(relative, scale),
            beyond=relative is not None and abs(relative) > scale,
        )
        for one, relative in zip(lines, relatives, strict=True)
    ]


def _relative(one: BenchLine) -> Decimal | None:
    if one.weighed == 0 or one.line.target == 0:
        return None
    return one.deviation / one.line.target


def _place(relative: Decimal, scale: Decimal) -> int:
    """Nearest whole step, kept inside the drawing."""
    return max(8, min(WIDE - 8, MIDDLE + round(relative / scale * MIDDLE)))
