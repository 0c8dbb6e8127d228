"""How needs on several days are joined into makings: the exact programme that weighs a making saved against keeping.

Every making (or order) costs the same effort, every gram kept costs by the day, so this is the dynamic lot-size problem
of Wagner and Whitin (Management Science 5, 1958): some cheapest plan makes only when nothing is left, each time for a run
of whole needs. Worked back from the last need, the best plan from each need on is known when it is asked for. What a
container takes and how long a lot keeps only shorten the runs. A run is not followed further once keeping its next need
costs more than a making of its own, since splitting there is then cheaper.

The rules of thumb for the same problem (least cost per period, part-period balance) were rejected: they are no quicker
here and sometimes dearer. `economic_quantity` is the constant-use case; suggested pars use it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Joined:
    """The cheapest plan: its cost, and the runs as (first need, one past its last)."""

    cost: int
    runs: tuple[tuple[int, int], ...]


def cheapest_runs(
    days: Sequence[int],
    masses: Sequence[int],
    *,
    setups: Sequence[int],
    holding: int = 1,
    most: int | None = None,
    ends: Sequence[int] | None = None,
) -> Joined:
    """Join needs of `masses` on ascending `days` into runs, each made for its first day.

    A run costs the setup of its first need, and `holding` a day and unit kept. No run of several needs exceeds `most`,
    and the run from need `j` holds none from `ends[j]` on. Of equal plans the one with the longer first runs is taken.
    """
    count = len(days)
    best = [0] * (count + 1)
    cut = [count] * count
    for first in range(count - 1, -1, -1):
        cost = mass = 0
        least: int | None = None
        for last in range(first, count if ends is None else max(ends[first], first + 1)):
            mass += masses[last]
            keeping = holding * masses[last] * (days[last] - days[first])
            if last > first and (keeping > setups[last] or (most is not None and mass > most)):
                break
            cost += keeping
            total = setups[first] + cost + best[last + 1]
            if masses[first] == 0 and last == first:
                total = best[last + 1]
            if least is None or total <= least:
                least, cut[first] = total, last + 1
        best[first] = 0 if least is None else least
    return Joined(best[0], _runs(cut, masses))


def _runs(cut: Sequence[int], masses: Sequence[int]) -> tuple[tuple[int, int], ...]:
    runs, first = [], 0
    while first < len(cut):
        if masses[first] or cut[first] > first + 1:
            runs.append((first, cut[first]))
        first = cut[first]
    return tuple(runs)


def economic_quantity(*, use: Decimal, setup: Decimal, holding: Decimal) -> Decimal:
    """√(2 · use · setup / holding): the lot at which making and keeping cost the same (Harris, 1913).

    `use` and `holding` are per the same time. Raises ZeroDivisionError when keeping costs nothing.
    """
    return (2 * use * setup / holding).sqrt()
