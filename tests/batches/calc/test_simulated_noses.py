"""Simulated noses sit in panels: guessing raises false alarms at most as often as the level says, and a planned panel
finds its share of tellers as often as it was planned to. Bounds are four standard deviations of the counts."""

from decimal import Decimal
from math import sqrt
from random import Random

import pytest

from batches.calc.discrimination import METHODS, Method, fewest_significant, outcome, power
from batches.calc.panel_plan import panel_plan
from batches.calc.perceiving import Step, perception
from batches.calc.serving_orders import servings

LEVEL = Decimal("0.05")
PANELS = 300


def sit(method: Method, answers: int, tellers: float, chance: Random) -> int:
    """How many of `answers` are right when a share of the noses tells, and the others take any place that bears a
    number: by its number only, so that the serving itself decides who is right."""
    correct = 0
    for tray in servings(method, answers, chance):
        numbered = [place for place, code in enumerate(tray.codes) if code is not None]
        chosen = tray.answer if chance.random() < tellers else chance.choice(numbered)
        correct += chosen == tray.answer
    return correct


def alarms(method: Method, answers: int, tellers: float, seed: int) -> int:
    """How many of so many panels come out significant."""
    needed = fewest_significant(method, answers=answers, level=LEVEL)
    chance = Random(seed)
    counts = [sit(method, answers, tellers, chance) for _ in range(PANELS)]
    if method.either_way:
        counts = [max(count, answers - count) for count in counts]
    return sum(count >= needed for count in counts)


def near(count: int, share: float) -> bool:
    return abs(count - PANELS * share) <= 4 * sqrt(PANELS * share * (1 - share))


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.name)
def test_guessing_noses_raise_alarms_at_the_exact_level(method):
    answers = 24
    exact = float(power(method, answers=answers, share=Decimal(0), level=LEVEL))
    assert exact <= LEVEL
    assert near(alarms(method, answers, 0.0, seed=11), exact)


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.name)
def test_a_planned_panel_finds_its_share_as_often_as_planned(method):
    plan = panel_plan(method, level=LEVEL, wanted_power=Decimal("0.8"), share=Decimal("0.5"))
    assert plan.found >= Decimal("0.8")
    assert near(alarms(method, plan.answers, 0.5, seed=12), float(plan.found))


def test_stopping_at_a_good_look_raises_more_alarms_than_the_level():
    """Why no look is free: guessing noses, looked at after every sixth of 48 answers."""
    method, chance = METHODS["triangle"], Random(13)
    stopped = 0
    for _ in range(PANELS):
        right = [chance.random() < 1 / 3 for _ in range(48)]
        looks = range(6, 49, 6)
        stopped += any(
            outcome(method, answers=look, correct=sum(right[:look]), level=LEVEL).significant
            for look in looks
        )
    assert stopped > PANELS * 0.05 + 4 * sqrt(PANELS * 0.05 * 0.95)


def test_a_nose_with_a_threshold_is_placed_between_the_strengths_around_it():
    """A nose that always perceives 1 % and never 0.1 %, ten triangles each: found in all but the guesses that come
    out, at most one in twenty at each weaker strength."""
    chance = Random(14)
    method = METHODS["triangle"]
    placed = 0
    for _ in range(PANELS):
        steps = [
            Step(Decimal(strength), 10, sit(method, 10, tells, chance))
            for strength, tells in (("0.0001", 0.0), ("0.001", 0.0), ("0.01", 1.0), ("0.1", 1.0))
        ]
        placed += perception(steps).threshold == Decimal("0.003162278")
    miss = float(power(method, answers=10, share=Decimal(0), level=LEVEL))
    assert near(placed, 1 - miss)
