"""Ways on after an overpour. A line is written `name target/poured+shelf@cost`, all in grams, as in `a 1/1.5+20@0.5`."""

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches.calc.overpour import BadOverpour, OverpourLine, overpour_options
from tests.batches.calc.batch_states import states

D = Decimal
FORM = re.compile(r"(\w+) ([\d.]+)/([\d.]+)(?:\+([\d.]+))?(?:@([\d.]+))?")


def batch(text, **changes):
    found = []
    for name, target, poured, shelf, cost in FORM.findall(text):
        line = OverpourLine(
            key=name,
            name=name,
            target=D(target),
            poured=D(poured),
            available=D(shelf or 1000),
            cost_per_gram=D(cost) if cost else None,
        )
        found.append(replace(line, **changes.get(name, {})))
    return found


def ways(text, tolerance="0.05", vessel=None, **changes):
    options = overpour_options(
        lines=batch(text, **changes), tolerance=D(tolerance), vessel=None if vessel is None else D(vessel)
    )
    return {option.way: option for option in options}


def by_line(option, what):
    return {line.key: getattr(line, what) for line in option.lines}


# Hand-worked: 10 g of a : b : c = 1 : 2 : 7, and 1.5 g of a are in instead of 1 g.
OVER = "a 1/1.5@0.50 b 2/0@0.10 c 7/0@0.02"


def test_keep_going_shows_every_line_in_the_larger_whole():
    option = ways(OVER)["keep-going"]

    assert by_line(option, "add") == {"a": D(0), "b": D(2), "c": D(7)}
    assert by_line(option, "deviation") == {
        "a": D("0.428571429"),
        "b": D("-0.047619048"),
        "c": D("-0.047619048"),
    }
    assert option.leaving_tolerance == ("a",)
    assert (option.mass, option.extra_mass, option.extra_cost) == (D("10.5"), D("0.5"), D("0.25"))
    assert option.allowed
    assert option.why == "a ends 42.9 % too high: outside ±5 %."


def test_enlarge_fully_makes_everything_half_as_much_again():
    option = ways(OVER)["enlarge-fully"]

    assert option.factor == D("1.5")
    assert by_line(option, "target") == {"a": D("1.5"), "b": D(3), "c": D("10.5")}
    assert by_line(option, "add") == {"a": D(0), "b": D(3), "c": D("10.5")}
    assert set(by_line(option, "deviation").values()) == {D(0)}
    # 0.5 g × 0.50 + 1 g × 0.10 + 3.5 g × 0.02
    assert (option.mass, option.extra_mass, option.extra_cost) == (D(15), D(5), D("0.42"))
    assert option.why == "Every line stays within ±5 %."


def test_enlarge_just_enough_leaves_the_overpoured_line_exactly_at_the_tolerance():
    # a is 5 % high when 1.5 g = 1.05 × 0.1 × T, so T = 14.285714 g, of which b and c are 12.785714 g = 9 g × k.
    option = ways(OVER)["enlarge-just-enough"]

    assert option.factor == D("1.420634921")
    assert by_line(option, "deviation")["a"] == D("0.05")
    assert option.leaving_tolerance == ()
    assert by_line(option, "final") == {"a": D("1.5"), "b": D("2.841270"), "c": D("9.944444")}
    # It aims at its tenth of the whole, rounded towards what it holds, so that 1.5 g are within 5 % of its target too.
    assert by_line(option, "target")["a"] == D("1.428572")


def test_a_large_line_overpoured_is_bounded_by_the_others_falling_short():
    # c is 90 % of the batch: 1.1 × as much of it lifts its part by 0.9 %, but lowers a and b by 8.3 %. They are
    # 5 % low when 10k = 0.95 (9.9 + k), so k = 9.405/9.05.
    option = ways("a 0.5/0 b 0.5/0 c 9/9.9")["enlarge-just-enough"]

    assert option.factor == D("1.039226519")
    assert by_line(option, "deviation")["a"] == D("-0.05")


def test_lines_already_poured_are_topped_up():
    option = ways("a 1/1.5 b 2/2 c 7/0")["enlarge-fully"]

    assert by_line(option, "add") == {"a": D(0), "b": D(1), "c": D("10.5")}


def test_within_tolerance_nothing_needs_enlarging():
    options = ways("a 1/1.02 b 2/1.99 c 7/0")

    assert options["enlarge-just-enough"].factor == 1
    assert by_line(options["enlarge-just-enough"], "add") == by_line(options["keep-going"], "add")
    assert by_line(options["keep-going"], "add") == {"a": D(0), "b": D(0), "c": D(7)}


def test_a_line_only_half_poured_is_still_poured_full():
    assert by_line(ways("a 1/1.5 b 2/1 c 7/0")["keep-going"], "add")["b"] == D(1)


def test_the_shelf_forbids_with_what_is_missing():
    option = ways("a 1/1.5 b 2/0+2.5 c 7/0")["enlarge-fully"]

    assert not option.allowed
    assert by_line(option, "missing") == {"a": D(0), "b": D("0.5"), "c": D(0)}
    assert (
        option.why == "Not possible: the shelf does not have enough (b needs 3 g more and 2.5 g are there)."
    )


def test_the_vessel_forbids_with_both_masses():
    option = ways(OVER, vessel="14.9")["enlarge-fully"]

    assert (option.allowed, option.over_vessel) == (False, D("0.1"))
    assert option.why == "Not possible: the vessel holds 14.9 g and the batch would be 15 g."


def test_a_vessel_that_just_holds_the_batch_is_enough_whatever_the_rounding():
    # b to e end at 1.0000006667 g each: 7.0000046667 g in all, but 7.000006 g when each is rounded.
    option = ways("a 3/3.000002 b 1/0 c 1/0 d 1/0 e 1/0", vessel="7.000005")["enlarge-fully"]

    assert option.allowed


def test_best_within_limits_divides_what_the_vessel_leaves():
    # 12 g with 1.5 g of a: a is 25 % high whatever is done; b and c share the rest as planned.
    option = ways(OVER, vessel="12")["best-within-limits"]

    assert by_line(option, "final") == {"a": D("1.5"), "b": D("2.333333"), "c": D("8.166667")}
    assert option.largest_deviation == D("0.25")
    assert option.allowed


def test_best_within_limits_equals_enlarging_fully_when_nothing_limits():
    options = ways(OVER)

    assert by_line(options["best-within-limits"], "add") == by_line(options["enlarge-fully"], "add")


def test_a_scarce_line_does_not_excuse_the_others():
    # b is short by a fifth; a and c can still stand right to each other and to the plan.
    option = ways("a 1/0.5 b 2/0+1.6 c 7/0 d 90/0", vessel="100")["best-within-limits"]

    assert by_line(option, "final")["b"] == D("1.6")
    assert sum(abs(x) for x in by_line(option, "deviation").values()) < D("0.25")


def test_a_vessel_that_is_too_full_already_leaves_no_best():
    option = ways(OVER, vessel="1.4")["best-within-limits"]

    assert not option.allowed
    assert by_line(option, "add") == {"a": D(0), "b": D(0), "c": D(0)}


def test_an_empty_shelf_leaves_nothing_to_do():
    option = ways("a 1/0+0 b 2/0+0")["best-within-limits"]

    assert not option.allowed
    assert option.why == "Not possible: nothing is poured, and the shelf has nothing to pour."


def test_a_line_of_unknown_cost_is_named_and_the_extra_cost_left_open():
    option = ways("a 1/1.5@0.5 b 2/0 c 7/0@0.02")["enlarge-fully"]

    assert option.extra_cost is None
    assert option.lines_without_cost == ("b",)


def test_the_third_overpour_of_a_batch_is_like_the_first():
    # First 1.5 g of a, enlarged to 15 g; then 3.6 g of b instead of 3 g, enlarged to 18 g; now c.
    second = ways("a 1.5/1.5 b 3/3.6 c 10.5/0")["enlarge-fully"]
    third = ways("a 1.8/1.5 b 3.6/3.6 c 12.6/14")["enlarge-fully"]

    assert by_line(second, "target") == {"a": D("1.8"), "b": D("3.6"), "c": D("12.6")}
    assert third.mass == D(20)
    assert by_line(third, "add") == {"a": D("0.5"), "b": D("0.4"), "c": D(0)}


def test_after_best_within_limits_the_plan_still_gives_the_proportions():
    # The targets moved to 1.5 : 2.333333 : 8.166667, the plan is 1 : 2 : 7; now b is overpoured to 3 g.
    planned = {"a": {"planned": D(1)}, "b": {"planned": D(2)}, "c": {"planned": D(7)}}
    option = ways("a 1.5/1.5 b 2.333333/3 c 8.166667/0", **planned)["enlarge-fully"]

    assert option.factor == D("1.5")
    assert by_line(option, "final") == {"a": D("1.5"), "b": D(3), "c": D("10.5")}


def test_enlarging_never_makes_a_batch_smaller_than_it_was_going_to_be():
    planned = {"a": {"planned": D(1)}, "b": {"planned": D(1)}}
    option = ways("a 3/2 b 3/0", **planned)["enlarge-fully"]

    assert (option.factor, option.mass) == (D(3), D(6))


def test_top_ups_too_small_to_add_are_left_out_where_the_tolerance_allows():
    small = {"b": {"smallest_top_up": D("0.1")}}
    option = ways("a 1/1.03 b 2/2.0 c 7/0", tolerance="0.02", **small)["enlarge-just-enough"]

    assert by_line(option, "add")["b"] == 0
    assert option.leaving_tolerance == ()
    assert by_line(option, "add")["c"] > 7


def test_a_top_up_too_small_to_add_is_named_where_it_cannot_be_avoided():
    small = {"b": {"smallest_top_up": D("0.1")}}
    option = ways("a 1/1.02 b 2/2 c 7/0", **small)["enlarge-fully"]

    assert by_line(option, "too_small") == {"a": False, "b": True, "c": False}
    assert option.why.endswith("Hardly to be weighed, because so little is to be added: b.")


def test_every_fault_of_the_input_is_told_at_once():
    with pytest.raises(BadOverpour) as caught:
        overpour_options(
            lines=[
                OverpourLine("a", "a", D(0), D(-1), D(1)),
                OverpourLine("a", "b", D("NaN"), D(1), D(-1), D(-1), D(-1), D(0)),
            ],
            tolerance=D(1),
            vessel=D(0),
        )

    assert set(caught.value.errors) == {
        "lines",
        "tolerance",
        "vessel",
        "lines.0.target",
        "lines.0.poured",
        "lines.1.target",
        "lines.1.available",
        "lines.1.cost_per_gram",
        "lines.1.smallest_top_up",
        "lines.1.planned",
    }


@pytest.mark.parametrize("tolerance", [D(0), D(-1), D("NaN"), D("1.5")])
def test_a_tolerance_that_is_none_is_refused(tolerance):
    with pytest.raises(BadOverpour):
        overpour_options(lines=batch(OVER), tolerance=tolerance)


def test_a_batch_without_lines_is_refused():
    with pytest.raises(BadOverpour):
        overpour_options(lines=[], tolerance=D("0.05"))


def as_lines(state):
    def grams(count):
        return D(count).scaleb(-6)

    rows = zip(state["targets"], state["poured"], state["available"], state["smallest"], strict=True)
    return [
        OverpourLine(str(i), f"line {i}", grams(t), grams(a), grams(s), D("0.1"), grams(least))
        for i, (t, a, s, least) in enumerate(rows)
    ]


@settings(deadline=None, max_examples=80)
@given(states(top_ups=True), st.sampled_from(["0.005", "0.02", "0.1"]))
def test_nothing_is_ever_taken_out_and_limits_are_kept_where_it_says_so(state, tolerance):
    vessel = None if state["capacity"] is None else D(state["capacity"]).scaleb(-6)
    keep, fully, enough, best = overpour_options(lines=as_lines(state), tolerance=D(tolerance), vessel=vessel)

    for option in (keep, fully, enough, best):
        assert all(line.add >= 0 for line in option.lines)
        assert option.mass == sum(line.final for line in option.lines)
        assert all(line.final == D(a).scaleb(-6) + line.add
                   for line, a in zip(option.lines, state["poured"], strict=True))  # fmt: skip
        if option.allowed:
            for line, shelf in zip(option.lines, state["available"], strict=True):
                assert line.add <= D(shelf).scaleb(-6)
            assert vessel is None or option.mass <= vessel + D("0.00001")
    assert {line.deviation for line in fully.lines} == {D(0)}
    assert enough.leaving_tolerance == ()
    assert enough.factor <= fully.factor
    assert not any(line.missing for line in best.lines)
    assert all(line.too_small is False for line in best.lines)
    # Rounding to the microgram moves the part of a line by some millionths.
    if keep.allowed and not any(line.too_small for line in keep.lines):
        assert best.largest_deviation <= keep.largest_deviation * D("1.00001") + D("0.00001")
