"""Whether one nose perceives a material at all: triangles against the solvent at rising strengths.

At each strength the person gets a few triangles of the material and its bare solvent. A strength at which the right
answers are too many for guessing is perceived. The person's threshold is the geometric mean of the last strength that
was not perceived and the first from which on every strength was, as the method of limits has it (ASTM E679, best
estimate threshold, there with one test a strength). A person who misses at the highest strength has a threshold
above it; one who perceives the lowest has one below it. Both are said as such and never as a number.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from batches.calc.discrimination import TRIANGLE, BadTest, by_chance, fewest_significant
from inventory.calc.wording import percent
from studio.kernel.mass import exact_strength

Where = Literal["between", "below", "above"]


@dataclass(frozen=True, slots=True)
class Step:
    """The triangles at one strength (mass fraction): how many, and how many were right."""

    strength: Decimal
    answers: int
    correct: int


@dataclass(frozen=True, slots=True)
class Perceived:
    """One step judged, with the words for it."""

    step: Step
    by_chance: Fraction
    perceived: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Perception:
    """All steps from weak to strong. `threshold` is a mass fraction when it lies `between` two strengths, else None."""

    steps: tuple[Perceived, ...]
    where: Where
    threshold: Decimal | None
    sentence: str


def perception(steps: Sequence[Step], level: Decimal = Decimal("0.05")) -> Perception:
    """Judge the steps of one person and one material. Raises `BadTest` for none, or a strength given twice."""
    if not steps:
        raise BadTest("Nothing was smelled yet; a result needs at least one strength.")
    rising = sorted(steps, key=lambda step: step.strength)
    if len({exact_strength(step.strength, "the strength of a step") for step in rising}) < len(rising):
        raise BadTest("A strength is given twice; add its triangles up.")
    judged = tuple(_judge(step, level) for step in rising)
    missed = [place for place, one in enumerate(judged) if not one.perceived]
    if not missed:
        return Perception(
            judged, "below", None, f"Perceived from {percent(rising[0].strength)} on, or weaker still."
        )
    if missed[-1] == len(judged) - 1:
        return Perception(
            judged, "above", None, f"Not told from the solvent up to {percent(rising[-1].strength)}."
        )
    last, first = rising[missed[-1]].strength, rising[missed[-1] + 1].strength
    threshold = (last * first).sqrt().quantize(Decimal("0.000000001"))
    return Perception(
        judged,
        "between",
        threshold,
        f"Perceived from {percent(first)} on, not at {percent(last)}; the threshold is about {percent(threshold)}.",
    )


def triangles_needed(level: Decimal) -> int:
    """The fewest triangles at one strength of which all right would be significant: 3 at 5 %."""
    return next(
        answers
        for answers in range(1, 100)
        if fewest_significant(TRIANGLE, answers=answers, level=level) is not None
    )


def _judge(step: Step, level: Decimal) -> Perceived:
    chance = by_chance(TRIANGLE, answers=step.answers, correct=step.correct)
    perceived = chance <= Fraction(level)
    told = "You tell it from the solvent" if perceived else "You cannot tell it from the solvent"
    return Perceived(
        step,
        chance,
        perceived,
        f"{told} at {percent(step.strength)}: {step.correct} of {step.answers} right, which guessing alone "
        f"reaches {_often(chance)}.",
    )


def _often(chance: Fraction) -> str:
    hundred = chance * 100
    if hundred >= 1:
        return f"in {round(hundred)} of 100 tries"
    return f"in 1 of {round(1 / chance)} tries"
