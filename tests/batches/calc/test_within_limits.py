from itertools import product

import numpy as np
from hypothesis import assume, given, settings
from scipy.optimize import linprog

from batches.calc.enlarging import deviations
from batches.calc.within_limits import best_masses
from tests.batches.calc.batch_states import states


def within_reach(state, worst, low, high):
    """Whether some masses between `low` and `high` deviate no more than `worst`: SciPy, in plain masses."""
    parts = np.array(state["planned"]) / sum(state["planned"])
    count = len(parts)
    scale = sum(state["targets"])
    above = np.eye(count) - (1 + worst) * parts[:, np.newaxis]
    below = (1 - worst) * parts[:, np.newaxis] - np.eye(count)
    limit = sum(high) if state["capacity"] is None else state["capacity"]
    rows = np.vstack([above / parts[:, np.newaxis], below / parts[:, np.newaxis], np.ones(count)])
    bounds = np.zeros(2 * count + 1)
    bounds[-1] = limit / scale
    box = [(a / scale, b / scale) for a, b in zip(low, high, strict=True)]
    if scale == 0 or any(a > b for a, b in box):
        return None
    found = linprog(np.ones(count), A_ub=rows, b_ub=bounds, bounds=box, method="highs")
    # The empty batch deviates from nothing; it is no answer.
    return found.x * scale if found.status == 0 and found.x.sum() > 1e-9 else None


def noticeably_below(worst):
    """Less by more than the rounding to micrograms, of lines above 0.2 g, can explain."""
    return worst - 2e-5 * (1 + worst)


def tops(state):
    return [a + more for a, more in zip(state["poured"], state["available"], strict=True)]


def capped(state):
    """The same state with a shelf that a solver can scale: a million times the need is no more than enough."""
    most = [min(more, 20 * sum(state["targets"])) for more in state["available"]]
    return state | {"available": most}


@settings(deadline=None, max_examples=80)
@given(states())
def test_the_best_deviation_is_reached_and_a_smaller_one_cannot_be(state):
    state = capped(state)
    assume(any(state["poured"]))
    masses = best_masses(**state)
    if masses is None:
        assert state["capacity"] is not None
        assert sum(state["poured"]) > state["capacity"]
        return
    worst = float(max(abs(x) for x in deviations(state["planned"], masses)))

    assert all(a <= y <= top for a, y, top in zip(state["poured"], masses, tops(state), strict=True))
    assert state["capacity"] is None or sum(masses) <= state["capacity"]
    better = noticeably_below(worst)
    if better > 0:
        assert within_reach(state, better, state["poured"], tops(state)) is None


@settings(deadline=None, max_examples=40)
@given(states(most_lines=4, top_ups=True))
def test_with_smallest_top_ups_no_choice_of_lines_does_better(state):
    state = capped(state)
    assume(any(state["poured"]))
    masses = best_masses(**state)
    assume(masses is not None)
    worst = float(max(abs(x) for x in deviations(state["planned"], masses)))
    better = noticeably_below(worst)
    choices = [
        [(a, a), (a + least, a + more)] if a and least else [(a, a + more)]
        for a, least, more in zip(state["poured"], state["smallest"], state["available"], strict=True)
    ]

    for added, a, least in zip(
        np.subtract(masses, state["poured"]), state["poured"], state["smallest"], strict=True
    ):
        assert added == 0 or not a or added >= least
    if better > 0:
        for choice in product(*choices):
            low, high = zip(*choice, strict=True)
            assert within_reach(state, better, low, high) is None


@settings(deadline=None, max_examples=40)
@given(states())
def test_among_equally_good_ways_the_batch_grows_least(state):
    state = capped(state)
    assume(any(state["poured"]))
    masses = best_masses(**state)
    assume(masses is not None and sum(masses) > sum(state["targets"]))
    worst = float(max(abs(x) for x in deviations(state["planned"], masses)))

    least = within_reach(state, worst + 1e-6 * (1 + worst), state["poured"], tops(state))

    # The smallest total that SciPy finds at this deviation may lie below the present targets, which we keep.
    slack = len(masses) + 1e-4 * sum(masses)
    assert sum(masses) <= max(least.sum(), sum(state["targets"])) + slack


def test_sixty_lines_are_solved_as_well_as_seven():
    rng = np.random.default_rng(4)
    planned = (10 ** rng.uniform(3.5, 6.2, 60)).astype(int).tolist()
    poured = [int(n * f) for n, f in zip(planned, rng.uniform(0.985, 1.02, 60), strict=True)]
    poured = [a if i % 3 else 0 for i, a in enumerate(poured)]
    poured[7] = planned[7] * 13 // 10
    state = {
        "planned": planned,
        "targets": planned,
        "poured": poured,
        "available": [int(n * f) for n, f in zip(planned, rng.uniform(0.15, 2, 60), strict=True)],
        "smallest": [0] * 60,
        "capacity": sum(planned) * 115 // 100,
    }
    state["available"][::3] = [2 * n for n in planned[::3]]

    masses = best_masses(**state)
    worst = float(max(abs(x) for x in deviations(planned, masses)))

    assert worst > 0.01
    assert within_reach(state, worst + 1e-3, poured, tops(state)) is not None
    assert within_reach(state, worst - 1e-3, poured, tops(state)) is None
    assert best_masses(**state) == masses
