"""Whether two vials can be told apart: exact results of blind tests, and how many answers a test needs.

Three methods. In a triangle (ISO 4120) two of three samples are the same and the odd one is looked for, by chance
one time in three. In a duo-trio (ISO 10399) the one that matches a reference is looked for, in a paired comparison
(ISO 5495) the one with more of something, both by chance one time in two. A paired comparison counts one way when it is
known beforehand which vial should have more, and either way when it is not.

Everything is reckoned with whole numbers and fractions, so a result at the edge of a level falls on the right side of
it. A test that does not come out shows nothing about sameness by itself: the words always carry the largest share of
tellers that the answers still leave possible.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import sqrt
from statistics import NormalDist

from studio.kernel.errors import Invalid

MOST_ANSWERS = 2000
"""More answers than a studio ever collects; it bounds the exact sums."""

MOST_PLANNED = 1000
"""No studio finds more noses than that for one question."""


class BadTest(Invalid):
    """Counts, levels or shares that no discrimination test can have."""

    code = "bad-test"
    title = "This test cannot be reckoned"


@dataclass(frozen=True, slots=True)
class Method:
    """One way of asking: the chance of being right by guessing, and whether either answer can be the surprise."""

    name: str
    chance: Fraction
    either_way: bool
    standard: str


TRIANGLE = Method("triangle", Fraction(1, 3), either_way=False, standard="ISO 4120")
DUO_TRIO = Method("duo-trio", Fraction(1, 2), either_way=False, standard="ISO 10399")
PAIR = Method("pair", Fraction(1, 2), either_way=False, standard="ISO 5495")
PAIR_EITHER_WAY = Method("pair-either-way", Fraction(1, 2), either_way=True, standard="ISO 5495")
METHODS = {method.name: method for method in (TRIANGLE, DUO_TRIO, PAIR, PAIR_EITHER_WAY)}


@dataclass(frozen=True, slots=True)
class Share:
    """The share of people who truly tell the vials apart (0 to 1), and the ends of its confidence interval."""

    estimate: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a finished test says. `by_chance` is how often guessing alone would do at least as well (0 to 1);
    `needed` the fewest right answers that would have been significant, None when no count would be."""

    answers: int
    correct: int
    by_chance: Fraction
    needed: int | None
    significant: bool
    share: Share


def by_chance(method: Method, *, answers: int, correct: int) -> Fraction:
    """How often guessing alone gives at least `correct` right answers of `answers`: the exact binomial tail.

    Either way, it is how often one of the two vials is chosen at least as often as the more chosen one was.
    """
    _check_counts(answers, correct)
    if not method.either_way:
        return _tail(answers, correct, method.chance)
    return min(Fraction(1), 2 * _tail(answers, max(correct, answers - correct), method.chance))


def fewest_significant(method: Method, *, answers: int, level: Decimal) -> int | None:
    """The smallest count of right answers that guessing reaches with a chance of at most `level`; None if none does.

    Either way, it is the count of the more chosen vial. ISO 4120, ISO 10399 and ISO 5495 print it as tables.
    """
    _check_counts(answers, 0)
    allowed = _level(level) / (2 if method.either_way else 1) * method.chance.denominator**answers
    found = None
    for correct, ways in _ways(answers, method.chance):
        if ways > allowed:
            break
        found = correct
    return found


def outcome(
    method: Method,
    *,
    answers: int,
    correct: int,
    level: Decimal = Decimal("0.05"),
    confidence: Decimal = Decimal("0.95"),
) -> Outcome:
    """The result of a finished test at `level`, with the share of people who tell them apart."""
    chance = by_chance(method, answers=answers, correct=correct)
    return Outcome(
        answers=answers,
        correct=correct,
        by_chance=chance,
        needed=fewest_significant(method, answers=answers, level=level),
        significant=chance <= _level(level),
        share=share_of_tellers(method, answers=answers, correct=correct, confidence=confidence),
    )


def share_of_tellers(method: Method, *, answers: int, correct: int, confidence: Decimal) -> Share:
    """The share of people who tell the vials apart: those right beyond guessing, p = (right - chance)/(1 - chance).

    The interval is the exact one of Clopper and Pearson (1934) for the share of right answers, brought to tellers
    the same way; what lies below guessing counts as nobody. Either way, it is of the more chosen vial.
    """
    _check_counts(answers, correct)
    outside = (1 - _level(confidence)) / 2
    counted = max(correct, answers - correct) if method.either_way else correct
    right = Fraction(counted, answers)
    low = _bound(answers, counted, outside) if counted else Fraction(0)
    high = 1 - _bound(answers, answers - counted, outside) if counted < answers else Fraction(1)
    return Share(*(_beyond_guessing(method, one) for one in (right, low, high)))


def power(method: Method, *, answers: int, share: Decimal, level: Decimal) -> Fraction:
    """How often a test of `answers` comes out significant when `share` of the people truly tell the vials apart."""
    needed = fewest_significant(method, answers=answers, level=level)
    if needed is None:
        return Fraction(0)
    right = _right_when(method, _share(share))
    found = _tail(answers, needed, right)
    return found + _tail(answers, needed, 1 - right) if method.either_way else found


def answers_needed(method: Method, *, share: Decimal, level: Decimal, wanted_power: Decimal) -> int:
    """The smallest number of answers whose test finds `share` of tellers at least as often as `wanted_power`.

    A few more answers may do slightly worse, since counts are whole; so a test is planned with this number and
    ended at it. Raises `BadTest` when more than `MOST_PLANNED` would be needed.
    """
    if _share(share) == 0:
        raise BadTest("Nobody who tells them apart is nothing to find; give a share above 0.")
    target = _level(wanted_power)
    for answers in range(1, MOST_PLANNED + 1):
        if _surely_too_few(method, answers, _share(share), level, wanted_power):
            continue
        if power(method, answers=answers, share=share, level=level) >= target:
            return answers
    raise BadTest(
        f"More than {MOST_PLANNED} answers would be needed to find so small a share so surely; look for a larger share "
        f"or be content with less certainty."
    )


def _surely_too_few(
    method: Method, answers: int, share: Fraction, level: Decimal, wanted_power: Decimal
) -> bool:
    """Whether the normal approximation falls so far short that the exact sum need not be asked: beyond sixty answers
    it is never a tenth away from it."""
    right = float(_right_when(method, share))
    if answers <= 60 or right >= 1:
        return False
    chance = float(method.chance)
    sides = 2 if method.either_way else 1
    needed = NormalDist(answers * chance, sqrt(answers * chance * (1 - chance))).inv_cdf(
        1 - float(level) / sides
    )
    found = 1 - NormalDist(answers * right, sqrt(answers * right * (1 - right))).cdf(needed)
    return found < float(wanted_power) - 0.1


def _right_when(method: Method, share: Fraction) -> Fraction:
    """The share of right answers when `share` of the people tell and the others guess."""
    return method.chance + (1 - method.chance) * share


def _beyond_guessing(method: Method, right: Fraction) -> Decimal:
    told = max(Fraction(0), (right - method.chance) / (1 - method.chance))
    return (Decimal(told.numerator) / Decimal(told.denominator)).quantize(Decimal("0.000001"))


def _tail(answers: int, correct: int, chance: Fraction) -> Fraction:
    """P(X ≥ correct) for X binomial, exactly."""
    if correct <= 0:
        return Fraction(1)
    ways = next((ways for right, ways in _ways(answers, chance) if right == correct), 0)
    return Fraction(ways, chance.denominator**answers)


def _ways(answers: int, chance: Fraction) -> Iterator[tuple[int, int]]:
    """For each count from all right downwards, P(X ≥ count) as a whole number over `denominator ** answers`."""
    hit, miss = chance.numerator, chance.denominator - chance.numerator
    choices, weight, ways = 1, hit**answers, 0
    for right in range(answers, -1, -1):
        ways += choices * weight
        yield right, ways
        choices = choices * right // (answers - right + 1)
        weight = weight // hit * miss if hit else 0


def _bound(answers: int, correct: int, outside: Fraction) -> Fraction:
    """The smallest share of right answers under which `correct` or more are seen at least `outside` of the time.

    By halving to a millionth; the exact tail decides each step.
    """
    low, high = 0, 1 << 22
    while high - low > 1:
        middle = (low + high) // 2
        if _tail(answers, correct, Fraction(middle, 1 << 22)) < outside:
            low = middle
        else:
            high = middle
    return Fraction(low + high, 1 << 23)


def _check_counts(answers: int, correct: int) -> None:
    if not 1 <= answers <= MOST_ANSWERS:
        raise BadTest(f"A test has between 1 and {MOST_ANSWERS} answers, not {answers}.")
    if not 0 <= correct <= answers:
        raise BadTest(f"Of {answers} answers, {correct} cannot be right.")


def _level(given: Decimal) -> Fraction:
    if not (given.is_finite() and 0 < given < 1):
        raise BadTest(f"A level, a power or a confidence lies between 0 and 1; {given} does not.")
    return Fraction(given)


def _share(given: Decimal) -> Fraction:
    if not (given.is_finite() and 0 <= given <= 1):
        raise BadTest(f"A share lies between 0 and 1; {given} does not.")
    return Fraction(given)
