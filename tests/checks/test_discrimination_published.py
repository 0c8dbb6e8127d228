"""Discrimination tests against the printed tables of sensory analysis, and SciPy's binomial."""

from decimal import Decimal

import pytest
from scipy.stats import binom, binomtest

from batches.calc.discrimination import (
    DUO_TRIO,
    METHODS,
    PAIR,
    PAIR_EITHER_WAY,
    TRIANGLE,
    by_chance,
    fewest_significant,
    power,
    share_of_tellers,
)

LEVELS = [Decimal(one) for one in ("0.10", "0.05", "0.01", "0.001")]

# FAO V7180E (sensory evaluation of fish), Appendix A: fewest correct answers of a triangle test, at 10, 5, 1 and
# 0.1 %; the table of ISO 4120. None where no count is significant.
TRIANGLES = {
    3: (3, 3, None, None),
    4: (4, 4, None, None),
    5: (4, 4, 5, None),
    6: (5, 5, 6, None),
    7: (5, 5, 6, 7),
    8: (5, 6, 7, 8),
    9: (6, 6, 7, 8),
    10: (6, 7, 8, 9),
    11: (7, 7, 8, 10),
    12: (7, 8, 9, 10),
    13: (8, 8, 9, 11),
    14: (8, 9, 10, 11),
    15: (8, 9, 10, 12),
    16: (9, 9, 11, 12),
    17: (9, 10, 11, 13),
    18: (10, 10, 12, 13),
    19: (10, 11, 12, 14),
    20: (10, 11, 13, 14),
    21: (11, 12, 13, 15),
    22: (11, 12, 14, 15),
    23: (12, 12, 14, 16),
    24: (12, 13, 15, 16),
    25: (12, 13, 15, 17),
    26: (13, 14, 15, 17),
    27: (13, 14, 16, 18),
    28: (14, 15, 16, 18),
    29: (14, 15, 17, 19),
    30: (14, 15, 17, 19),
    31: (15, 16, 18, 20),
    32: (15, 16, 18, 20),
    33: (15, 17, 18, 21),
    34: (16, 17, 19, 21),
    35: (16, 17, 19, 22),
    36: (17, 18, 20, 22),
    42: (19, 20, 22, 25),
    48: (21, 22, 25, 27),
    54: (23, 25, 27, 30),
    60: (26, 27, 30, 33),
    66: (28, 29, 32, 35),
    72: (30, 32, 34, 38),
    78: (32, 34, 37, 40),
    84: (35, 36, 39, 43),
    90: (37, 38, 42, 45),
    96: (39, 41, 44, 48),
}

# GOST ISO 10399-2015, Table A.1: fewest correct answers of a duo-trio test, at 5, 1 and 0.1 %. The one-sided table of
# ISO 5495 is the same.
HALVES = {
    5: (5, None, None),
    6: (6, None, None),
    7: (7, 7, None),
    8: (7, 8, None),
    9: (8, 9, None),
    10: (9, 10, 10),
    12: (10, 11, 12),
    15: (12, 13, 14),
    18: (13, 15, 16),
    20: (15, 16, 18),
    24: (17, 19, 20),
    30: (20, 22, 24),
    36: (24, 26, 28),
    48: (31, 33, 36),
    60: (37, 40, 43),
}

# ISO 5495, two-sided table at 5 %, reckoned with the exact binomial.
EITHER_WAY = {
    6: 6,
    7: 7,
    8: 8,
    9: 8,
    10: 9,
    12: 10,
    15: 12,
    18: 14,
    20: 15,
    24: 18,
    30: 21,
    36: 25,
    48: 32,
    60: 39,
}


@pytest.mark.parametrize("answers", TRIANGLES)
def test_the_triangle_table(answers):
    found = [fewest_significant(TRIANGLE, answers=answers, level=level) for level in LEVELS]
    assert tuple(found) == TRIANGLES[answers]


@pytest.mark.parametrize("method", [DUO_TRIO, PAIR], ids=lambda method: method.name)
@pytest.mark.parametrize("answers", HALVES)
def test_the_duo_trio_and_one_sided_pair_table(method, answers):
    found = [fewest_significant(method, answers=answers, level=level) for level in LEVELS[1:]]
    assert tuple(found) == HALVES[answers]


@pytest.mark.parametrize("answers", EITHER_WAY)
def test_the_two_sided_pair_table(answers):
    assert fewest_significant(PAIR_EITHER_WAY, answers=answers, level=LEVELS[1]) == EITHER_WAY[answers]


# Exact tails, reckoned with SciPy.
@pytest.mark.parametrize(
    ("method", "answers", "correct", "tail"),
    [
        (TRIANGLE, 3, 3, 0.037037),
        (TRIANGLE, 6, 5, 0.01783),
        (TRIANGLE, 15, 9, 0.03083),
        (TRIANGLE, 24, 13, 0.02844),
        (TRIANGLE, 30, 15, 0.04348),
        (DUO_TRIO, 10, 8, 0.0546875),
        (DUO_TRIO, 10, 9, 0.01074),
        (DUO_TRIO, 20, 15, 0.02069),
    ],
)
def test_tails_as_published(method, answers, correct, tail):
    assert float(by_chance(method, answers=answers, correct=correct)) == pytest.approx(tail, abs=6e-6)


@pytest.mark.parametrize("answers", [1, 7, 24, 61, 300])
def test_tails_are_those_of_scipy(answers):
    for method in METHODS.values():
        for correct in range(0, answers + 1, max(1, answers // 9)):
            found = float(by_chance(method, answers=answers, correct=correct))
            if method.either_way:
                expected = binomtest(correct, answers, 0.5).pvalue
            else:
                expected = binom.sf(correct - 1, answers, float(method.chance))
            assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("answers", "correct"), [(6, 0), (6, 5), (24, 13), (60, 60), (200, 80)])
def test_the_interval_of_tellers_is_clopper_and_pearsons(answers, correct):
    share = share_of_tellers(TRIANGLE, answers=answers, correct=correct, confidence=Decimal("0.95"))
    interval = binomtest(correct, answers).proportion_ci(0.95, method="exact")
    for ours, right in ((share.low, interval.low), (share.high, interval.high)):
        assert float(ours) == pytest.approx(max(0.0, (right - 1 / 3) / (2 / 3)), abs=2e-6)


@pytest.mark.parametrize("share", ["0.1", "0.3", "0.5"])
def test_power_is_the_chance_of_reaching_the_count(share):
    for method in METHODS.values():
        needed = fewest_significant(method, answers=40, level=LEVELS[1])
        right = float(method.chance) + (1 - float(method.chance)) * float(share)
        expected = binom.sf(needed - 1, 40, right)
        if method.either_way:
            expected += binom.sf(needed - 1, 40, 1 - right)
        found = power(method, answers=40, share=Decimal(share), level=LEVELS[1])
        assert float(found) == pytest.approx(expected, rel=1e-9)
