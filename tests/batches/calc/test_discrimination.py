"""Blind tests: planning, results at the edges, serving orders, and what one nose perceives."""

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches.calc.discrimination import (
    METHODS,
    PAIR_EITHER_WAY,
    TRIANGLE,
    BadTest,
    answers_needed,
    by_chance,
    fewest_significant,
    outcome,
    power,
)
from batches.calc.perceiving import Step, perception, triangles_needed
from batches.calc.serving_orders import BLIND_CODES, right_place, serving_orders, servings

LEVEL = Decimal("0.05")
methods = st.sampled_from(list(METHODS.values()))


@settings(deadline=None)
@given(methods, st.integers(1, 60), st.sampled_from(["0.1", "0.05", "0.01"]))
def test_a_count_is_significant_exactly_from_the_fewest_on(method, answers, level):
    fewest = fewest_significant(method, answers=answers, level=Decimal(level))
    # Either way round, the count is that of the more chosen vial.
    for correct in range(-(-answers // 2) if method.either_way else 0, answers + 1):
        found = by_chance(method, answers=answers, correct=correct) <= Fraction(level)
        assert found == (fewest is not None and correct >= fewest)


@given(st.integers(1, 60), st.data())
def test_either_way_the_two_vials_count_alike(answers, data):
    chosen = data.draw(st.integers(0, answers))
    one = by_chance(PAIR_EITHER_WAY, answers=answers, correct=chosen)
    assert one == by_chance(PAIR_EITHER_WAY, answers=answers, correct=answers - chosen)


@pytest.mark.parametrize("method", METHODS.values(), ids=METHODS)
def test_the_planned_number_is_the_first_with_the_power(method):
    plan = {"share": Decimal("0.4"), "level": LEVEL}
    number = answers_needed(method, **plan, wanted_power=Decimal("0.8"))
    reached = [float(power(method, answers=answers, **plan)) for answers in range(1, number + 1)]
    assert reached[-1] >= 0.8
    assert max(reached[:-1]) < 0.8


def test_a_share_too_small_to_find_is_refused_in_words():
    with pytest.raises(BadTest, match="More than 1000 answers"):
        answers_needed(TRIANGLE, share=Decimal("0.01"), level=LEVEL, wanted_power=Decimal("0.9"))


def test_nothing_to_find_is_refused():
    with pytest.raises(BadTest, match="nothing to find"):
        answers_needed(TRIANGLE, share=Decimal(0), level=LEVEL, wanted_power=Decimal("0.9"))


@pytest.mark.parametrize(("answers", "correct"), [(0, 0), (5, 6), (5, -1), (2001, 3)])
def test_impossible_counts_are_refused(answers, correct):
    with pytest.raises(BadTest):
        outcome(TRIANGLE, answers=answers, correct=correct)


def test_guessing_noses_raise_false_alarms_no_more_often_than_the_level():
    chance, panels = Random(1), 4000
    alarms = sum(_panel(chance, answers=24, share=0.0) for _ in range(panels))
    # The exact size of this test is 2.84 %; four standard errors either way.
    assert 0.018 < alarms / panels < 0.039


def test_noses_that_tell_are_found_as_often_as_planned():
    chance, panels = Random(2), 2000
    number = answers_needed(TRIANGLE, share=Decimal("0.4"), level=LEVEL, wanted_power=Decimal("0.8"))
    found = sum(_panel(chance, answers=number, share=0.4) for _ in range(panels)) / panels
    expected = float(power(TRIANGLE, answers=number, share=Decimal("0.4"), level=LEVEL))
    assert abs(found - expected) < 0.036


def _panel(chance: Random, *, answers: int, share: float) -> bool:
    """One triangle panel of simulated noses, from the servings to the result."""
    correct = 0
    for serving in servings(TRIANGLE, answers, chance):
        told = serving.answer if chance.random() < share else chance.randrange(3)
        correct += told == serving.answer
    return outcome(TRIANGLE, answers=answers, correct=correct, level=LEVEL).significant


@given(methods, st.integers(1, 60), st.integers())
def test_every_order_is_served_as_often_as_the_others(method, people, seed):
    counts = Counter(serving_orders(method, people, Random(seed)))
    possible = {"triangle": 6, "duo-trio": 4}.get(method.name, 2)
    spread = [*counts.values(), *[0] * (possible - len(counts))]
    assert len(spread) == possible
    assert max(spread) - min(spread) <= 1


@given(methods, st.integers(1, 400), st.integers())
def test_no_number_is_met_twice(method, people, seed):
    served = servings(method, people, Random(seed))
    codes = [[code for code in one.codes if code is not None] for one in served]
    assert all(code in BLIND_CODES for own in codes for code in own)
    everybody = [code for own in codes for code in own]
    if len(everybody) <= len(BLIND_CODES):
        assert len(set(everybody)) == len(everybody)
    assert all(len(set(own)) == len(own) for own in codes)


@pytest.mark.parametrize(
    ("method", "order", "place"),
    [
        ("triangle", "ABA", 1),
        ("triangle", "BBA", 2),
        ("duo-trio", "AAB", 1),
        ("duo-trio", "BAB", 2),
        ("pair", "BA", 0),
        ("pair", "AB", 1),
    ],
)
def test_the_right_place(method, order, place):
    assert right_place(METHODS[method], order) == place


def test_a_threshold_lies_between_the_last_missed_and_the_first_told():
    found = perception(
        [Step(Decimal("0.001"), 6, 5), Step(Decimal("0.00001"), 6, 1), Step(Decimal("0.0001"), 6, 3)]
    )
    assert found.where == "between"
    # sqrt(0.0001 x 0.001)
    assert found.threshold == Decimal("0.000316228")
    assert [one.perceived for one in found.steps] == [False, False, True]
    assert found.sentence == "Perceived from 0.1 % on, not at 0.01 %; the threshold is about 0.03162 %."


def test_what_is_not_perceived_is_said_plainly():
    found = perception([Step(Decimal("0.1"), 6, 2)])
    assert (found.where, found.threshold) == ("above", None)
    assert found.steps[0].sentence == (
        "You cannot tell it from the solvent at 10 %: 2 of 6 right, which guessing alone reaches in 65 of 100 tries."
    )


def test_who_tells_the_weakest_has_a_threshold_below_it():
    found = perception([Step(Decimal("0.1"), 8, 8)])
    assert (found.where, found.threshold) == ("below", None)
    assert "1 of 6561 tries" in found.steps[0].sentence


def test_three_triangles_are_the_fewest_that_can_show_anything():
    assert triangles_needed(LEVEL) == 3


def test_a_strength_given_twice_is_refused():
    with pytest.raises(BadTest, match="given twice"):
        perception([Step(Decimal("0.1"), 3, 3), Step(Decimal("0.10"), 3, 0)])
