"""Pars suggested from use: the reorder point for `low`, and `low` and the use of one interval for `full`.

low = mean · lead + z · σ · √lead (days independent, lead time known): what is used until a making is ready, and a margin
so large that a share z stands for of all lead times see no empty bottle. The interval is that of the economic quantity,
at which making anew costs as much as keeping, but never longer than the shelf life. Only suggested; a par is set by people.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from batches.calc.remake_lot_sizes import economic_quantity
from batches.calc.remake_request import MAKING_WORTH
from studio.kernel.errors import Invalid
from studio.kernel.mass import nearest_mass

DAYS = Decimal(7)
SERVICE = Decimal("0.95")
LONGEST_INTERVAL = Decimal(182)
"""Days: nothing is made for more than half a year ahead, however little is used."""
NOTHING = Decimal(0)


class BadUse(Invalid):
    """Weeks, days or shares that no par can be suggested from."""

    code = "bad-use"
    title = "No par can be suggested from this"


@dataclass(frozen=True, slots=True)
class SuggestedPar:
    """`low` and `full` in grams, and how they came: use a day and its deviation, `margin` of the low, `interval_days`.

    `weeks` are the grams used in each week looked at, the oldest first; empty when the use was given directly.
    """

    low: Decimal
    full: Decimal
    mean_a_day: Decimal
    deviation_a_day: Decimal
    margin: Decimal
    interval_days: Decimal
    weeks: tuple[Decimal, ...] = ()


def par_from_weeks(
    weeks: Sequence[Decimal],
    *,
    lead_days: int,
    service: Decimal = SERVICE,
    shelf_life_days: int | None = None,
    making_worth: Decimal = MAKING_WORTH,
) -> SuggestedPar:
    """A par from the grams used in each of at least two weeks, the oldest first, weeks without use as 0.

    The deviation is that of a sample (n - 1), a week's divided by √7 for a day's. `service` is the share of lead times
    without an empty bottle, from 0.5 and below 1. Raises `BadUse`.
    """
    if len(weeks) < 2:
        raise BadUse(f"A par needs the use of at least two weeks; there are {len(weeks)}.")
    if not all(week.is_finite() and week >= 0 for week in weeks):
        raise BadUse("The use of a week is 0 g or more.")
    count = len(weeks)
    mean = sum(weeks, NOTHING) / count
    variance = sum(((week - mean) ** 2 for week in weeks), NOTHING) / (count - 1)
    found = suggested_par(
        mean_a_day=mean / DAYS,
        deviation_a_day=(variance / DAYS).sqrt(),
        lead_days=lead_days,
        z=safety_factor(service),
        shelf_life_days=shelf_life_days,
        making_worth=making_worth,
    )
    return SuggestedPar(
        nearest_mass(found.low),
        nearest_mass(found.full),
        found.mean_a_day,
        found.deviation_a_day,
        found.margin,
        found.interval_days,
        tuple(weeks),
    )


def suggested_par(
    *,
    mean_a_day: Decimal,
    deviation_a_day: Decimal,
    lead_days: int,
    z: Decimal,
    shelf_life_days: int | None = None,
    making_worth: Decimal = MAKING_WORTH,
) -> SuggestedPar:
    """A par from the mean and standard deviation of a day's use in grams, unrounded. Raises `BadUse`."""
    if lead_days < 0 or (shelf_life_days is not None and shelf_life_days < 1):
        raise BadUse("A lead time is 0 days or more, a shelf life at least one day.")
    if not (mean_a_day >= 0 and deviation_a_day >= 0 and making_worth >= 0):
        raise BadUse("Use, its deviation and the worth of a making cannot be below 0.")
    margin = z * deviation_a_day * Decimal(lead_days).sqrt()
    low = mean_a_day * lead_days + margin
    interval = _interval(mean_a_day, shelf_life_days, making_worth)
    return SuggestedPar(low, low + mean_a_day * interval, mean_a_day, deviation_a_day, margin, interval)


def safety_factor(service: Decimal) -> Decimal:
    """z of a share of lead times without an empty bottle: the quantile of the standard normal distribution."""
    if not (service.is_finite() and Decimal("0.5") <= service < 1):
        raise BadUse(
            f"The share of lead times without an empty bottle is 0.5 or more and below 1, not {service}."
        )
    return Decimal(repr(NormalDist().inv_cdf(float(service))))


def _interval(mean_a_day: Decimal, shelf_life_days: int | None, making_worth: Decimal) -> Decimal:
    longest = LONGEST_INTERVAL if shelf_life_days is None else min(LONGEST_INTERVAL, Decimal(shelf_life_days))
    if mean_a_day == 0:
        return longest
    quantity = economic_quantity(use=mean_a_day, setup=making_worth, holding=Decimal(1))
    return min(longest, quantity / mean_a_day)
