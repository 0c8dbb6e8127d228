"""The programme solved for several aims in order, on small programmes that can be enumerated."""

import itertools
import random

import numpy as np
import pytest

from batches.calc.weigh_solver import Aim, Programme


def knapsack(weights, room, *, least=None):
    programme = Programme()
    chosen = programme.columns(len(weights), whole=True)
    programme.row(-np.inf if least is None else least, room, (chosen, np.array(weights, float)))
    return programme, chosen


def aim(name, columns, costs, floor=0.0):
    return Aim(name, columns, np.array(costs, float), floor)


def test_an_earlier_aim_is_never_given_up_for_a_later_one():
    programme, chosen = knapsack([3, 4, 5, 6], 20, least=9)
    answer = programme.solve([aim("count", chosen, [1, 1, 1, 1]), aim("late", chosen, [1, 2, 3, 4])])
    assert answer.reached == {"count": 2, "late": 5}
    assert answer.proven


def test_costs_of_a_column_named_twice_add_up():
    programme, chosen = knapsack([1, 1], 2, least=1)
    twice = Aim("twice", np.concatenate([chosen, chosen]), np.array([3.0, 2.0, 0.0, 2.0]))
    assert programme.solve([twice]).reached == {"twice": 3}


def test_an_aim_that_is_at_its_floor_already_changes_nothing():
    programme, chosen = knapsack([1, 1], 2, least=1)
    first = programme.solve([aim("first", chosen, [1, 2])])
    again = programme.solve([aim("first", chosen, [1, 2]), aim("second", chosen, [5, 0], floor=5)])
    assert (again.values == first.values).all()


def test_nothing_that_fits_is_none_and_no_aim_at_all_is_any_answer():
    assert knapsack([1, 1], 5, least=3)[0].solve([]) is None
    assert knapsack([1, 1], 5, least=2)[0].solve([]).values.tolist() == [1, 1]


def test_a_search_that_is_cut_short_says_that_it_proved_nothing():
    chance = random.Random(1)
    programme = Programme()
    chosen = programme.columns(40, whole=True)
    for _ in range(5):
        weights = np.array([chance.randint(1, 99) for _ in range(40)], float)
        off = programme.columns(2, 0.0, 1e4)
        programme.row(weights.sum() // 2, weights.sum() // 2, (chosen, weights), (off, np.array([1.0, -1.0])))
    off = np.arange(40, 50)
    answer = programme.solve([Aim("off", off, np.full(10, 1.0))], most_nodes=1)
    assert not answer.proven
    assert answer.reached["off"] > 0


@pytest.mark.parametrize("seed", range(25))
def test_three_aims_in_order_agree_with_enumeration(seed):
    chance = random.Random(seed)
    count = chance.randint(3, 7)
    weights = [chance.randint(1, 20) for _ in range(count)]
    least = chance.randint(1, sum(weights))
    costs = [[chance.randint(0, 4) for _ in range(count)] for _ in range(3)]
    fits = [
        bits
        for bits in itertools.product((0, 1), repeat=count)
        if least <= np.dot(bits, weights) <= least + 15
    ]
    programme, chosen = knapsack(weights, least + 15, least=least)
    answer = programme.solve([aim(str(at), chosen, one) for at, one in enumerate(costs)])
    if not fits:
        assert answer is None
        return
    best = min(tuple(int(np.dot(bits, one)) for one in costs) for bits in fits)
    assert tuple(round(answer.reached[str(at)]) for at in range(3)) == best
