"""What can be done when too much of something was poured into a batch: four ways on, each with its price.

*Keep going* pours the rest as planned; *enlarge fully* makes the batch so much larger that nothing is too much
any more; *enlarge just enough* stops at the smallest size with every line within tolerance; *best within
limits* comes as near as shelf and vessel allow. Nothing is ever taken out. A second or third overpour needs no
memory of the first: the plan gives the proportions, what is poured is poured, and the present targets say
what the batch was last going to be. Factors are in `batches.calc.enlarging`, the programme for the limits in
`batches.calc.within_limits`.

All four are worked out in exact micrograms. Deviations, and whether a line is within tolerance, refer to the
amounts before they are rounded to the microgram for the bench, because the rounding of a line of a few
milligrams would otherwise show as a deviation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from batches.calc.enlarging import deviations, enlarged, full_factor, just_enough, kept_going, least_factor
from batches.calc.within_limits import best_masses
from inventory.calc.cost import nearest_cost
from inventory.calc.wording import figure, listed, percent, readable
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import (
    BadNumber,
    exact_mass,
    from_micrograms,
    micrograms,
    nearest_fraction,
    positive_mass,
)

Way = Literal["keep-going", "enlarge-fully", "enlarge-just-enough", "best-within-limits"]
_NAMED_AT_MOST = 3


class BadOverpour(Invalid):
    """Lines, tolerance or vessel from which no way on can be worked out; every fault at once."""

    code = "bad-overpour"
    title = "These amounts cannot be worked with"


@dataclass(frozen=True, slots=True)
class OverpourLine:
    """One line of the batch; all masses in grams.

    `target` is what the line is to hold by the present plan and `poured` what it holds (0 while untouched).
    `planned` gives the proportions: the mass of the line when the batch was reserved; leave it out as long as
    the targets still have those proportions. `available` is what the shelf has to pour in addition, for this
    line alone; `cost_per_gram` is `None` when unknown. `smallest_top_up` is the least that can be added well to a
    line poured before: judge it by what it does to the whole line, a few readabilities, not by its own
    relative error.
    """

    key: str
    name: str
    target: Decimal
    poured: Decimal
    available: Decimal
    cost_per_gram: Decimal | None = None
    smallest_top_up: Decimal = Decimal(0)
    planned: Decimal | None = None


@dataclass(frozen=True, slots=True)
class LineOutcome:
    """A line as it ends. `target` is its new target (below `final` where more is in), `add` is still to pour.

    `deviation` is relative, of the line's part of the whole: 0.02 is 2 % too strong. `missing` is what the shelf
    lacks for `add`. `too_small` says that `add` is below the smallest top-up.
    """

    key: str
    name: str
    target: Decimal
    add: Decimal
    final: Decimal
    deviation: Decimal
    within: bool
    missing: Decimal
    too_small: bool


@dataclass(frozen=True, slots=True)
class OverpourOption:
    """One way on. `factor` is on the plan, `None` where lines change by different factors.

    `extra_mass` (grams) and `extra_cost` count all that the batch will hold beyond its present targets, the
    overpour itself included; `extra_cost` is `None` when a line whose mass changes has no known cost, and
    `lines_without_cost` names those. `over_vessel` is by how much the vessel is too small.
    """

    way: Way
    factor: Decimal | None
    lines: tuple[LineOutcome, ...]
    mass: Decimal
    extra_mass: Decimal
    extra_cost: Decimal | None
    lines_without_cost: tuple[str, ...]
    largest_deviation: Decimal
    leaving_tolerance: tuple[str, ...]
    over_vessel: Decimal
    allowed: bool
    why: str


@dataclass(frozen=True, slots=True)
class _Batch:
    """The input in micrograms, checked."""

    lines: Sequence[OverpourLine]
    planned: list[int]
    targets: list[int]
    poured: list[int]
    available: list[int]
    smallest: list[int]
    tolerance: Fraction
    capacity: int | None


def overpour_options(
    *, lines: Sequence[OverpourLine], tolerance: Decimal, vessel: Decimal | None = None
) -> tuple[OverpourOption, OverpourOption, OverpourOption, OverpourOption]:
    """The four ways on: keep going, enlarge fully, enlarge just enough, best within limits, in that order.

    `tolerance` is relative, above 0 and below 1, on each line's part of the whole; `vessel` is how many grams
    fit, `None` for no limit. Raises `BadOverpour` with every fault of the input.
    """
    batch = _checked(lines, tolerance, vessel)
    return _keep_going(batch), _enlarge_fully(batch), _enlarge_just_enough(batch), _best_within_limits(batch)


def _keep_going(batch: _Batch) -> OverpourOption:
    finals = kept_going(batch.targets, batch.poured, batch.tolerance)
    return _option(batch, "keep-going", None, batch.targets, finals)


def _enlarge_fully(batch: _Batch) -> OverpourOption:
    factor = full_factor(batch.planned, batch.targets, batch.poured)
    targets = [factor * n for n in batch.planned]
    return _option(batch, "enlarge-fully", factor, targets, targets)


def _enlarge_just_enough(batch: _Batch) -> OverpourOption:
    kept = kept_going(batch.targets, batch.poured, batch.tolerance)
    if all(abs(deviation) <= batch.tolerance for deviation in deviations(batch.planned, kept)):
        factor = least_factor(batch.planned, batch.targets)
        return _option(batch, "enlarge-just-enough", factor, batch.targets, kept)
    found = just_enough(batch.planned, batch.targets, batch.poured, batch.smallest, batch.tolerance)
    if found is None:
        factor = full_factor(batch.planned, batch.targets, batch.poured)
        finals = [factor * n for n in batch.planned]
    else:
        factor = found
        finals = enlarged(batch.planned, batch.poured, batch.smallest, factor)
    targets = _aims(batch.planned, finals, factor)
    return _option(batch, "enlarge-just-enough", factor, targets, finals)


def _aims(planned: Sequence[int], finals: Sequence[Fraction], factor: Fraction) -> list[int | Fraction]:
    """What each line aims at: what it is filled to, or, where it stays as it is, its planned part of the whole.

    So a line that stays within tolerance of its part reads as such at the bench too. The part is rounded towards what
    is poured, which is at the very edge of the tolerance.
    """
    share = sum(finals, Fraction(0)) / sum(planned)
    return [
        final if final == factor * n else ceil(share * n) if final > share * n else floor(share * n)
        for n, final in zip(planned, finals, strict=True)
    ]


def _best_within_limits(batch: _Batch) -> OverpourOption:
    finals = best_masses(
        planned=batch.planned,
        targets=batch.targets,
        poured=batch.poured,
        available=batch.available,
        smallest=batch.smallest,
        capacity=batch.capacity,
    )
    reached = batch.poured if finals is None else finals
    return _option(batch, "best-within-limits", None, reached, reached)


def _option(
    batch: _Batch,
    way: Way,
    factor: Fraction | None,
    targets: Sequence[int | Fraction],
    finals: Sequence[int | Fraction],
) -> OverpourOption:
    outcomes = tuple(
        _outcome(batch, line, targets[line], finals[line], deviation)
        for line, deviation in enumerate(deviations(batch.planned, finals))
    )
    mass = sum((outcome.final for outcome in outcomes), Decimal(0))
    over = Decimal(0)
    if batch.capacity is not None:
        over = from_micrograms(max(ceil(sum(finals)) - batch.capacity, 0))
    more = [outcome.final - line.target for outcome, line in zip(outcomes, batch.lines, strict=True)]
    unknown = tuple(
        line.key for line, m in zip(batch.lines, more, strict=True) if m and line.cost_per_gram is None
    )
    allowed = not over and not any(outcome.missing for outcome in outcomes) and mass > 0
    return OverpourOption(
        way=way,
        factor=None if factor is None else _nearest_ratio(factor),
        lines=outcomes,
        mass=mass,
        extra_mass=sum(more, Decimal(0)),
        extra_cost=None if unknown else _cost_of_more(batch.lines, more),
        lines_without_cost=unknown,
        largest_deviation=max(abs(outcome.deviation) for outcome in outcomes),
        leaving_tolerance=tuple(outcome.key for outcome in outcomes if not outcome.within),
        over_vessel=over,
        allowed=allowed,
        why=_why(batch, outcomes, mass, over) if not allowed else _what(batch, outcomes),
    )


def _outcome(
    batch: _Batch, line: int, target: int | Fraction, final: int | Fraction, deviation: Fraction
) -> LineOutcome:
    # Rounding half-even cannot fall below what is poured, which is a whole number of micrograms itself.
    ends, poured = round(final), batch.poured[line]
    add = ends - poured
    return LineOutcome(
        key=batch.lines[line].key,
        name=batch.lines[line].name,
        target=from_micrograms(round(target)),
        add=from_micrograms(add),
        final=from_micrograms(ends),
        deviation=_nearest_ratio(deviation),
        within=abs(deviation) <= batch.tolerance,
        missing=from_micrograms(max(add - batch.available[line], 0)),
        too_small=bool(poured) and 0 < add < batch.smallest[line],
    )


def _nearest_ratio(ratio: Fraction) -> Decimal:
    """Half-even to nine places, as every fraction: factors and deviations are read, not reckoned with."""
    with localcontext(prec=50):
        return nearest_fraction(Decimal(ratio.numerator) / ratio.denominator)


def _cost_of_more(lines: Sequence[OverpourLine], more: Sequence[Decimal]) -> Decimal:
    with localcontext(prec=50):
        return nearest_cost(
            sum((m * (line.cost_per_gram or 0) for line, m in zip(lines, more, strict=True)), Decimal(0))
        )


def _what(batch: _Batch, outcomes: Sequence[LineOutcome]) -> str:
    """The sentence for a way that shelf and vessel allow."""
    tolerance = f"±{percent(_nearest_ratio(batch.tolerance))}"
    outside = sorted((o for o in outcomes if not o.within), key=lambda o: (-abs(o.deviation), o.key))
    small = [o.name for o in outcomes if o.too_small]
    verdict = f"Every line stays within {tolerance}."
    if outside:
        ends = [
            f"{o.name} ends {percent(abs(o.deviation), 3)} too {'high' if o.deviation > 0 else 'low'}"
            for o in outside
        ]
        verdict = f"{_named(ends)}: outside {tolerance}."
    return verdict + (
        f" Hardly to be weighed, because so little is to be added: {_named(small)}." if small else ""
    )


def _why(batch: _Batch, outcomes: Sequence[LineOutcome], mass: Decimal, over: Decimal) -> str:
    """The sentence for a way that is not open, with what stands against it."""
    if mass == 0:
        return "Not possible: nothing is poured, and the shelf has nothing to pour."
    reasons = []
    lacking = [
        f"{o.name} needs {figure(o.add)} g more and {figure(from_micrograms(batch.available[i]))} g are there"
        for i, o in enumerate(outcomes)
        if o.missing
    ]
    if lacking:
        reasons.append(f"the shelf does not have enough ({_named(lacking)})")
    if over and batch.capacity is not None:
        reasons.append(
            f"the vessel holds {figure(from_micrograms(batch.capacity))} g and the batch would be "
            f"{readable(mass, 6)} g"
        )
    return f"Not possible: {listed(reasons)}."


def _named(phrases: Sequence[str]) -> str:
    rest = len(phrases) - _NAMED_AT_MOST
    return listed([*phrases[:_NAMED_AT_MOST], f"{rest} more"] if rest > 0 else phrases)


def _checked(lines: Sequence[OverpourLine], tolerance: Decimal, vessel: Decimal | None) -> _Batch:
    faults = Faults()
    if not lines:
        faults.add("lines", "A batch without lines cannot be overpoured.")
    if len({line.key for line in lines}) < len(lines):
        faults.add("lines", "Two lines have the same key.")
    if not tolerance.is_finite() or not 0 < tolerance < 1:
        faults.add(
            "tolerance", f"The tolerance is relative, above 0 and below 1 (0.02 is 2 %), not {tolerance}."
        )
    capacity = _grams(faults, "vessel", vessel, "what the vessel holds", above_zero=True)
    read = [_line(faults, number, line) for number, line in enumerate(lines)]
    if faults:
        raise BadOverpour(next(iter(faults.errors.values()))[0], errors=faults.errors)
    planned, targets, poured, available, smallest = (list(column) for column in zip(*read, strict=True))
    return _Batch(
        lines=lines,
        planned=planned,
        targets=targets,
        poured=poured,
        available=available,
        smallest=smallest,
        tolerance=Fraction(tolerance),
        capacity=None if vessel is None else capacity,
    )


def _line(faults: Faults, number: int, line: OverpourLine) -> tuple[int, int, int, int, int]:
    field, name = f"lines.{number}", line.name
    if line.cost_per_gram is not None and not (line.cost_per_gram.is_finite() and line.cost_per_gram >= 0):
        faults.add(
            f"{field}.cost_per_gram", f"The cost per gram of {name} is {line.cost_per_gram}, below zero."
        )
    target = _grams(faults, f"{field}.target", line.target, f"the target of {name}", above_zero=True)
    planned = _grams(faults, f"{field}.planned", line.planned, f"the plan of {name}", above_zero=True)
    return (
        target if line.planned is None else planned,
        target,
        _grams(faults, f"{field}.poured", line.poured, f"what is poured of {name}"),
        _grams(faults, f"{field}.available", line.available, f"what is there of {name}"),
        _grams(faults, f"{field}.smallest_top_up", line.smallest_top_up, f"the smallest top-up of {name}"),
    )


def _grams(faults: Faults, field: str, value: Decimal | None, what: str, *, above_zero: bool = False) -> int:
    """Whole micrograms, or 0 with the fault noted; 0 also for `None`."""
    if value is None:
        return 0
    try:
        return micrograms(positive_mass(value, what) if above_zero else exact_mass(value, what))
    except BadNumber as fault:
        faults.add(field, fault.message)
        return 0
