from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from batches.calc.enlarging import deviations, enlarged, full_factor, just_enough
from tests.batches.calc.batch_states import states


def inside(state, factor, tolerance):
    finals = enlarged(state["planned"], state["poured"], state["smallest"], factor)
    return all(abs(x) <= tolerance for x in deviations(state["planned"], finals))


@settings(deadline=None, max_examples=100)
@given(states(top_ups=True), st.sampled_from([Fraction(1, 200), Fraction(1, 50), Fraction(1, 10)]))
def test_no_smaller_factor_than_just_enough_would_do(state, tolerance):
    given_ = (state["planned"], state["targets"], state["poured"])
    full = full_factor(*given_)

    found = just_enough(*given_, state["smallest"], tolerance)

    tried = [1 + (full - 1) * Fraction(step, 100) for step in range(101)]
    if found is None:
        assert not any(inside(state, factor, tolerance) for factor in tried)
    else:
        assert 1 <= found <= full
        assert inside(state, found, tolerance)
        assert not any(inside(state, factor, tolerance) for factor in tried if factor < found)
        if found > 1:
            assert not inside(state, 1 + (found - 1) * Fraction(10**9 - 1, 10**9), tolerance)


def test_just_enough_may_need_to_leave_a_line_alone_that_fully_would_top_up():
    # b cannot take less than 500 µg more; at the full size it would need 200 µg.
    state = {"planned": [1000, 2000, 7000], "poured": [1100, 2000, 0], "smallest": [0, 500, 0]}

    found = just_enough(
        state["planned"], state["planned"], state["poured"], state["smallest"], Fraction(1, 20)
    )

    assert found is not None
    assert enlarged(state["planned"], state["poured"], state["smallest"], found)[1] == 2000
    assert (
        just_enough(state["planned"], state["planned"], state["poured"], [0, 500, 0], Fraction(1, 1000))
        is None
    )
