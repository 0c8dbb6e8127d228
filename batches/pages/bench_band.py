"""The band of a line as a drawing: from nothing over the least and the most allowed to far too much.

The scale has three parts, each even in itself, so that a band of two percent is as easy to see as one of twenty: up to
the least allowed, across the band with the target in its middle, and beyond. `batches/static/batches/bench/band.js`
moves the mark along the same scale while a balance is read.
"""

from dataclasses import dataclass
from decimal import Decimal

from batches.queries.batches import BenchLine

WIDE = 600
BAND_FROM, BAND_TO = 360, 510
TARGET_AT = (BAND_FROM + BAND_TO) // 2


@dataclass(frozen=True, slots=True)
class Band:
    """Where the fill of a line ends, between 0 and `WIDE`, and where band and target stand."""

    filled: int
    wide: int = WIDE
    band_from: int = BAND_FROM
    band_wide: int = BAND_TO - BAND_FROM
    target_at: int = TARGET_AT


def band_of(line: BenchLine) -> Band:
    """The band of a line as it is filled now."""
    return Band(filled=place(line, line.weighed))


def place(line: BenchLine, mass: Decimal) -> int:
    """Where a mass stands on the scale of a line; beyond the end of the scale is at its end."""
    half = line.largest - line.line.target
    if mass <= line.smallest:
        at = mass * BAND_FROM / line.smallest if line.smallest else Decimal(BAND_FROM)
    elif mass <= line.largest:
        at = BAND_FROM + (mass - line.smallest) * (BAND_TO - BAND_FROM) / (2 * half)
    else:
        at = BAND_TO + (mass - line.largest) * (WIDE - BAND_TO) / (2 * half or mass)
    return min(int(at), WIDE)
