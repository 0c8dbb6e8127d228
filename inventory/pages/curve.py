"""A lot's level over time as a stepped line: it holds what it held until the next movement."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from inventory.queries.level import Level

WIDE, HIGH = 1000, 200
MOST_STEPS = 400


@dataclass(frozen=True, slots=True)
class Curve:
    """The line and the area below it in a box of `WIDE` by `HIGH`, and what stands at its axes."""

    line: str
    area: str
    top: Decimal
    begin: datetime
    end: datetime

    @property
    def half(self) -> Decimal:
        return self.top / 2


def level_curve(levels: Sequence[Level], *, until: datetime) -> Curve | None:
    """The curve up to `until`; None for a lot that nothing ever happened to."""
    if not levels:
        return None
    steps = _thinned(levels)
    begin, end = steps[0].at, max(until, steps[-1].at)
    top = max(level.mass for level in steps) or Decimal(1)
    span = max((end - begin).total_seconds(), 1.0)

    def x(at: datetime) -> float:
        return round((at - begin).total_seconds() / span * WIDE, 1)

    def y(mass: Decimal) -> float:
        return round(HIGH - float(mass / top) * HIGH, 1)

    path = [f"M{x(begin)} {y(steps[0].mass)}"]
    for level in steps[1:]:
        path.append(f"H{x(level.at)}V{y(level.mass)}")
    line = "".join([*path, f"H{WIDE}"])
    return Curve(line=line, area=f"{line}V{HIGH}H0Z", top=top, begin=begin, end=end)


def _thinned(levels: Sequence[Level]) -> list[Level]:
    """At most `MOST_STEPS` of the levels, evenly spread, the first and the last among them."""
    if len(levels) <= MOST_STEPS:
        return list(levels)
    last = len(levels) - 1
    return [levels[place * last // (MOST_STEPS - 1)] for place in range(MOST_STEPS)]
