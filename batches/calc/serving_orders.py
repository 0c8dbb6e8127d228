"""In which order a panel's samples stand before each person, and the blind numbers on them.

The orders of a method are served equally often: whole rounds of all orders, then a random choice among them for what
is left, and the whole list shuffled, so that nobody can tell from the person before them. The source of chance is
passed in: the system's own for a real panel, a seeded one in a test.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from random import Random

from batches.calc.discrimination import DUO_TRIO, PAIR, PAIR_EITHER_WAY, TRIANGLE, BadTest, Method

BLIND_CODES = range(100, 1000)
"""Three digits, none of which starts with a zero: nine hundred codes."""

_ORDERS = {
    TRIANGLE.name: ("AAB", "ABA", "BAA", "ABB", "BAB", "BBA"),
    DUO_TRIO.name: ("AAB", "ABA", "BAB", "BBA"),
    PAIR.name: ("AB", "BA"),
    PAIR_EITHER_WAY.name: ("AB", "BA"),
}


@dataclass(frozen=True, slots=True)
class Serving:
    """What one person gets: which vial (A or B) stands at each place, from the left.

    In a duo-trio the first place is the reference and carries no number. `answer` is the place (from 0) that
    is right: the odd one, the one that matches the reference; in a pair, the one that holds vial B.
    """

    order: str
    codes: tuple[int | None, ...]
    answer: int


def serving_orders(method: Method, people: int, chance: Random) -> list[str]:
    """`people` orders of a method, each as often as the others but for at most one, in random succession.

    ISO 4120 asks for the six orders of a triangle equally often, ISO 10399 and ISO 5495 likewise for theirs.
    """
    if people < 1:
        raise BadTest("A panel has at least one serving.")
    orders = _ORDERS[method.name]
    rounds, rest = divmod(people, len(orders))
    served = [*orders * rounds, *chance.sample(orders, rest)]
    chance.shuffle(served)
    return served


def servings(method: Method, people: int, chance: Random) -> list[Serving]:
    """One serving for each person, with numbers that no person sees twice; over a whole panel none repeats while
    nine hundred suffice."""
    orders = serving_orders(method, people, chance)
    unnumbered = [None] if method.name == DUO_TRIO.name else []
    numbers = _numbers([len(order) - len(unnumbered) for order in orders], chance)
    return [
        Serving(order, (*unnumbered, *codes), right_place(method, order))
        for order, codes in zip(orders, numbers, strict=True)
    ]


def drawn_servings(method: Method, *, seed: str, answers: int, steps: int = 1) -> list[Serving]:
    """The trays of a panel as its seed gives them, always the same: step by step, each as often as the others."""
    chance = Random(seed)
    return [one for _ in range(steps) for one in servings(method, answers // steps, chance)]


def right_place(method: Method, order: str) -> int:
    """The place (from 0) of the right answer in an order as `Serving` tells it."""
    if method.name == TRIANGLE.name:
        return next(place for place, vial in enumerate(order) if order.count(vial) == 1)
    if method.name == DUO_TRIO.name:
        return order.index(order[0], 1)
    return order.index("B")


def blind_codes(count: int, chance: Random) -> list[int]:
    """`count` different three-digit numbers. Raises `BadTest` for more than there are."""
    if count > len(BLIND_CODES):
        raise BadTest(
            f"Only {len(BLIND_CODES)} things can be told apart by three-digit numbers, not {count}."
        )
    return chance.sample(BLIND_CODES, count)


def _numbers(sizes: Sequence[int], chance: Random) -> list[list[int]]:
    """So many numbers for each serving: none twice in the panel if that can be, else none twice for one person."""
    if sum(sizes) > len(BLIND_CODES):
        return [blind_codes(size, chance) for size in sizes]
    pool = iter(blind_codes(sum(sizes), chance))
    return [list(islice(pool, size)) for size in sizes]
