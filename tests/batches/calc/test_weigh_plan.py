"""The weigh plan: which lots are weighed, in what order of preference, and what the plan says about itself."""

from dataclasses import replace
from decimal import Decimal

import pytest

from batches.calc.strength import BadFormula, NoOdorant
from batches.calc.weigh_plan import plan_weighing
from batches.calc.weigh_request import BadWeighRequest, SolventBound
from inventory.calc.claims import BadLots
from tests.batches.calc.shelves import formula, material, request, shelf

D = Decimal
ETHANOL, GLYCOL = material("ethanol"), material("dipropylene glycol")
ROSE = formula("geraniol@10%/ethanol 4", "ethanol 6")


def pours(plan):
    """Lot and grams of every pour, by line."""
    return [(pour.line, pour.lot, str(pour.mass)) for pour in plan.pours]


def lots_of(plan, line=1):
    return [pour.lot for pour in plan.pours if pour.line == line]


def test_with_the_stocks_as_written_nothing_is_moved():
    plan = plan_weighing(request(ROSE, shelf("geraniol@10%/ethanol 9g", "geraniol 9g", "ethanol 50g"), "10"))
    assert pours(plan) == [(1, 101, "4.000000"), (2, 103, "6.000000")]
    assert (plan.moved, plan.changes, plan.flags) == (0, (), ())
    assert plan.strength == D("0.04")
    assert plan.solvents == {ETHANOL: D("0.96")}
    assert plan.proven


def test_the_actual_strength_of_the_lot_decides_the_grams():
    plan = plan_weighing(request(ROSE, shelf("geraniol@9.8%/ethanol 9g", "ethanol 50g"), "10"))
    assert pours(plan)[0] == (1, 101, "4.081633")
    assert plan.moved == 0
    assert plan.strength == D("0.040000003")


def test_a_higher_strength_moves_the_line_to_the_stronger_stock_and_says_what_that_frees():
    lots = shelf("geraniol@10%/ethanol 90g", "geraniol 9g", "ethanol 50g")
    plan = plan_weighing(request(ROSE, lots, "10", strength=D("0.2")))
    assert pours(plan) == [(1, 102, "2.000000"), (2, 103, "8.000000")]
    change = plan.changes[0]
    assert (change.line, change.written, change.used, change.freed) == (1, D("0.1"), (D(1),), D("18"))
    assert change.sentence == (
        "geraniol: 2 g of lot 26-0102 (100 %) instead of 20 g at 10 %; frees 18 g of solvent."
    )


def test_a_lot_near_enough_to_the_dilution_as_written_is_not_a_move():
    near = plan_weighing(request(ROSE, shelf("geraniol@10.4%/ethanol 9g", "ethanol 50g"), "10"))
    far = plan_weighing(request(ROSE, shelf("geraniol@10.6%/ethanol 9g", "ethanol 50g"), "10"))
    assert (near.moved, far.moved) == (0, 1)


def test_the_same_strength_in_another_solvent_is_a_move():
    lots = shelf("geraniol@10%/dipropylene glycol 9g", "geraniol@10%/ethanol 9g", "ethanol 50g")
    assert lots_of(plan_weighing(request(ROSE, lots, "10"))) == [102]
    plan = plan_weighing(request(ROSE, lots[:1] + lots[2:], "10"))
    assert plan.moved == 1
    assert plan.solvents == {ETHANOL: D("0.6"), GLYCOL: D("0.36")}


def test_a_pour_just_below_the_smallest_is_raised_to_it_within_the_tolerance():
    plan = plan_weighing(
        request(
            formula("geraniol@10%/ethanol 0.0198", "ethanol 9.9802"),
            shelf("geraniol@10%/ethanol 9g", "ethanol 50g"),
            "10",
        )
    )
    assert pours(plan)[0] == (1, 101, "0.020000")
    assert plan.flags == ()
    assert plan.lines[0].deviation == D("0.010101010")
    assert "raised to 0.02 g" in plan.lines[0].sentence


def test_a_line_is_rather_raised_than_moved():
    lots = shelf("geraniol@10%/ethanol 9g", "geraniol@1%/ethanol 9g", "ethanol 50g")
    plan = plan_weighing(request(formula("geraniol@10%/ethanol 0.0198", "ethanol 9.9802"), lots, "10"))
    assert (pours(plan)[0], plan.moved) == ((1, 101, "0.020000"), 0)


def test_a_pour_further_below_the_smallest_comes_from_a_weaker_stock():
    lots = shelf("geraniol@10%/ethanol 9g", "geraniol@1%/ethanol 9g", "ethanol 50g")
    plan = plan_weighing(request(formula("geraniol@10%/ethanol 0.01", "ethanol 9.99"), lots, "10"))
    assert pours(plan)[0] == (1, 102, "0.100000")
    assert plan.changes[0].freed == D("-0.09")
    assert "takes 0.09 g more of the batch" in plan.changes[0].sentence


def test_a_pour_that_stays_too_small_is_flagged_with_its_numbers_and_the_least_bad_is_taken():
    lots = shelf("geraniol@10%/ethanol 9g", "geraniol 9g", "ethanol 50g")
    plan = plan_weighing(request(formula("geraniol@10%/ethanol 0.01", "ethanol 9.99"), lots, "10"))
    assert pours(plan)[0] == (1, 101, "0.010000")
    flag = plan.flags[0]
    assert (flag.line, flag.lot, flag.mass, flag.smallest) == (1, 101, D("0.01"), D("0.02"))
    assert "0.01 g of lot 26-0101 is below 0.02 g" in flag.sentence


def test_fewer_flagged_lines_outweigh_fewer_moved_lines():
    lines = formula("geraniol@10%/ethanol 0.01", "linalool@10%/ethanol 4", "ethanol 5.99")
    lots = shelf(
        "geraniol@10%/ethanol 9g", "geraniol@1%/ethanol 9g", "linalool@10%/ethanol 9g", "ethanol 50g"
    )
    plan = plan_weighing(request(lines, lots, "10"))
    assert (plan.moved, plan.flags) == (1, ())


def test_the_fewest_lines_are_moved_even_if_more_of_them_would_do():
    lines = formula("geraniol@10%/ethanol 5", "linalool@10%/ethanol 2", "citral@10%/ethanol 2", "ethanol 1")
    lots = shelf(
        *(
            f"{name}@{strength}%/ethanol 20g"
            for name in ("geraniol", "linalool", "citral")
            for strength in (10, 50)
        ),
        "ethanol 50g",
    )
    plan = plan_weighing(request(lines, lots, "10", strength=D("0.13")))
    assert [change.name for change in plan.changes] == ["geraniol"]


def test_one_pour_is_better_than_two_and_the_lot_that_expires_first_is_poured():
    lots = shelf(
        "geraniol@10%/ethanol 1g exp=2026-02-01",
        "geraniol@10%/ethanol 9g exp=2026-05-01",
        "geraniol@10%/ethanol 9g exp=2026-03-01",
        "ethanol 50g",
    )
    assert lots_of(plan_weighing(request(ROSE, lots, "10"))) == [103]


def test_an_open_bottle_goes_before_a_new_one_that_expires_sooner():
    lots = shelf("geraniol@10%/ethanol 9g exp=2026-02-01 new", "geraniol@10%/ethanol 9g", "ethanol 50g")
    assert lots_of(plan_weighing(request(ROSE, lots, "10"))) == [102]


def test_lots_that_are_alike_go_by_their_id():
    lots = shelf("geraniol@10%/ethanol 9g", "geraniol@10%/ethanol 9g", "ethanol 50g")
    assert lots_of(plan_weighing(request(ROSE, lots[::-1], "10"))) == [101]


def test_a_line_is_split_where_no_lot_of_its_strength_is_enough_and_earlier_lots_give_what_they_have():
    lots = shelf(
        "geraniol@10%/ethanol 3g", "geraniol@10%/ethanol 3g exp=2026-02-01", "geraniol 9g", "ethanol 50g"
    )
    plan = plan_weighing(request(ROSE, lots, "10"))
    assert pours(plan) == [(1, 101, "1.000000"), (1, 102, "3.000000"), (2, 104, "6.000000")]
    assert plan.moved == 0


def test_a_split_leaves_no_crumb():
    lots = shelf("geraniol@10%/ethanol 3.99g exp=2026-02-01", "geraniol@10%/ethanol 3g", "ethanol 50g")
    assert pours(plan_weighing(request(ROSE, lots, "10")))[:2] == [(1, 101, "3.980000"), (1, 102, "0.020000")]


def test_a_lot_in_another_solvent_is_no_reason_not_to_split_the_one_written():
    lots = shelf(
        "geraniol@10%/ethanol 3g",
        "geraniol@10%/ethanol 3g",
        "geraniol@10%/dipropylene glycol 9g",
        "ethanol 50g",
    )
    plan = plan_weighing(request(ROSE, lots, "10"))
    assert (lots_of(plan), plan.moved) == ([101, 102], 0)


def test_what_one_lot_gives_is_not_poured_from_two():
    lines = formula("geraniol@10%/ethanol 9.99", "ethanol 0.01")
    lots = shelf("geraniol@10.1%/ethanol 9.5g", "geraniol@10%/ethanol 20g", "ethanol 50g")
    assert lots_of(plan_weighing(request(lines, lots, "10"))) == [102]


def test_two_lines_of_a_material_share_what_its_lots_hold():
    lines = formula("geraniol@10%/ethanol 4", "geraniol@10%/ethanol 3", "ethanol 3")
    lots = shelf("geraniol@10%/ethanol 5g", "geraniol@10%/ethanol 4g", "ethanol 50g")
    plan = plan_weighing(request(lines, lots, "10"))
    assert pours(plan) == [(1, 101, "4.000000"), (2, 102, "3.000000"), (3, 103, "3.000000")]


def test_lots_expired_or_on_hold_are_left_alone_unless_they_are_allowed():
    lots = shelf(
        "geraniol@10%/ethanol 9g exp=2026-01-14", "geraniol@10%/ethanol 9g held", "geraniol 9g", "ethanol 50g"
    )
    assert lots_of(plan_weighing(request(ROSE, lots, "10"))) == [103]
    assert lots_of(plan_weighing(request(ROSE, lots, "10", allowed_lots=frozenset({101})))) == [101]
    assert lots_of(plan_weighing(request(ROSE, lots, "10", allowed_lots=frozenset({102})))) == [102]


def test_several_free_solvents_keep_their_written_proportions():
    lines = formula("geraniol@10%/ethanol 4", "ethanol 4.5", "dipropylene glycol 1.5")
    plan = plan_weighing(
        request(
            lines,
            shelf("geraniol@10%/ethanol 9g", "ethanol 50g", "dipropylene glycol 9g"),
            "10",
            strength=D("0.02"),
        )
    )
    assert pours(plan) == [(1, 101, "2.000000"), (2, 102, "6.000000"), (3, 103, "2.000000")]


def test_a_bound_on_one_of_several_free_solvents_shifts_their_proportions_no_further_than_it_must():
    lines = formula("geraniol@10%/ethanol 4", "ethanol 4.5", "dipropylene glycol 1.5")
    lots = shelf("geraniol@10%/ethanol 9g", "geraniol 9g", "ethanol 50g", "dipropylene glycol 9g")
    bounds = {GLYCOL: SolventBound(highest=D("0.05"))}
    plan = plan_weighing(request(lines, lots, "10", solvent_bounds=bounds))
    assert pours(plan) == [(1, 101, "4.000000"), (2, 103, "5.500000"), (3, 104, "0.500000")]
    assert plan.solvents[GLYCOL] == D("0.05")


def test_a_bound_on_a_carried_solvent_moves_the_line_that_carries_it():
    lines = formula("geraniol@10%/dipropylene glycol 4", "linalool@10%/ethanol 2", "ethanol 4")
    lots = shelf(
        "geraniol@10%/dipropylene glycol 9g",
        "geraniol@50%/dipropylene glycol 9g",
        "linalool@10%/ethanol 9g",
        "ethanol 50g",
    )
    plan = plan_weighing(request(lines, lots, "10", solvent_bounds={GLYCOL: SolventBound(highest=D("0.05"))}))
    assert [change.name for change in plan.changes] == ["geraniol"]
    assert plan.solvents[GLYCOL] == D("0.04")


def test_a_lowest_share_of_a_solvent_is_kept_as_well():
    lines = formula("geraniol 1", "ethanol 9")
    lots = shelf("geraniol 9g", "geraniol@10%/dipropylene glycol 20g", "ethanol 50g")
    plan = plan_weighing(
        request(lines, lots, "10", strength=D("0.04"), solvent_bounds={GLYCOL: SolventBound(lowest=D("0.3"))})
    )
    assert lots_of(plan) == [102]
    assert plan.solvents[GLYCOL] == D("0.36")


def test_free_solvent_is_split_over_its_lots_without_a_crumb():
    lots = shelf("geraniol@10%/ethanol 9g", "ethanol 5.99g exp=2026-03-01", "ethanol 4g")
    plan = plan_weighing(request(ROSE, lots, "10"))
    assert pours(plan)[1:] == [(2, 102, "5.980000"), (2, 103, "0.020000")]


def test_a_solvent_pour_that_is_too_small_is_flagged_but_moves_no_line():
    lines = formula("geraniol@10%/ethanol 9.99", "ethanol 0.01")
    plan = plan_weighing(
        request(lines, shelf("geraniol@10%/ethanol 20g", "geraniol 9g", "ethanol 50g"), "10")
    )
    assert plan.moved == 0
    assert [flag.line for flag in plan.flags] == [2]


def test_a_lot_choice_that_leaves_enough_solvent_to_weigh_is_preferred():
    lines = formula("geraniol@10%/ethanol 9.99", "ethanol 0.01")
    lots = shelf("geraniol@10%/ethanol 20g exp=2026-02-01", "geraniol@10.2%/ethanol 20g", "ethanol 50g")
    plan = plan_weighing(request(lines, lots, "10"))
    assert (lots_of(plan), plan.flags, plan.moved) == ([102], (), 0)


def test_without_free_solvent_all_lines_share_one_factor_within_the_tolerance():
    lines = formula("geraniol@10%/ethanol 6", "linalool 4")
    plan = plan_weighing(request(lines, shelf("geraniol@9.9%/ethanol 20g", "linalool 20g"), "10"))
    assert sum(pour.mass for pour in plan.pours) == 10
    first, second = (line.deviation for line in plan.lines)
    assert abs(first - second) < D("0.000001")
    assert D("-0.02") < first < 0
    assert "no free solvent takes up" in plan.lines[0].sentence


def test_masses_add_up_to_the_microgram_where_nothing_divides_evenly():
    lines = formula("geraniol@10%/ethanol 1", "linalool@3%/ethanol 1", "citral@7%/ethanol 1", "ethanol 4")
    lots = shelf(
        "geraniol@9.7%/ethanol 20g", "linalool@3.1%/ethanol 20g", "citral@6.9%/ethanol 20g", "ethanol 50g"
    )
    plan = plan_weighing(request(lines, lots, "9.999999"))
    assert sum(pour.mass for pour in plan.pours) == D("9.999999")


def test_a_lot_that_is_exactly_enough_is_emptied():
    plan = plan_weighing(request(ROSE, shelf("geraniol@10%/ethanol 4g", "ethanol 6g"), "10"))
    assert pours(plan) == [(1, 101, "4.000000"), (2, 102, "6.000000")]


def test_a_base_is_a_material_like_any_other():
    lines = (replace(formula("rose base 2")[0], strength=D("0.4")), *formula("geraniol 1", "ethanol 7")[1:])
    lots = (
        replace(shelf("rose base 9g")[0], strength=D("0.41"), solvents={ETHANOL: D("0.59")}),
        *shelf("x 1g", "ethanol 50g")[1:],
    )
    plan = plan_weighing(request(lines, lots, "9"))
    assert plan.moved == 0
    assert pours(plan)[0][2] == "1.951220"


def test_cost_adds_up_what_is_known_and_names_the_lots_without_a_price():
    plan = plan_weighing(request(ROSE, shelf("geraniol@10%/ethanol 9g cost=1.5", "ethanol 50g"), "10"))
    assert plan.cost.known == D("6.0")
    assert plan.cost.unknown_lots == (102,)


def test_the_worst_strength_for_the_dilution_as_written_still_keeps_solvents_with_bounds_untouched_elsewhere():
    lots = shelf("geraniol@10%/ethanol 9g", "ethanol 50g")
    plan = plan_weighing(request(ROSE, lots, "10", solvent_bounds={GLYCOL: SolventBound(highest=D("0.05"))}))
    assert plan.moved == 0


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"total": D(0)}, "total"),
        ({"total": D("NaN")}, "total"),
        ({"total": D("0.0000001")}, "total"),
        ({"total": D("-1")}, "total"),
        ({"smallest": D(0)}, "smallest"),
        ({"largest_total": D("-5")}, "largest_total"),
        ({"tolerance": D("1")}, "tolerance"),
        ({"tolerance": D("NaN")}, "tolerance"),
        ({"same_dilution": D("-0.1")}, "same_dilution"),
        ({"strength": D("1.1")}, "strength"),
        ({"strength": D(0)}, "strength"),
        ({"solvent_bounds": {ETHANOL: SolventBound(D("0.5"), D("0.4"))}}, f"solvent_bounds.{ETHANOL}"),
        ({"solvent_bounds": {ETHANOL: SolventBound(D("NaN"))}}, f"solvent_bounds.{ETHANOL}"),
        (
            {"solvent_bounds": {ETHANOL: SolventBound(D("0.6")), GLYCOL: SolventBound(D("0.6"))}},
            "solvent_bounds",
        ),
    ],
)
def test_a_request_that_makes_no_sense_is_refused_by_field(change, field):
    good = request(ROSE, shelf("geraniol@10%/ethanol 9g", "ethanol 50g"), "10")
    with pytest.raises(BadWeighRequest) as refusal:
        plan_weighing(replace(good, **change))
    assert field in refusal.value.errors


def test_every_fault_of_a_request_is_named_at_once():
    good = request(ROSE, shelf("ethanol 50g"), "10")
    with pytest.raises(BadWeighRequest) as refusal:
        plan_weighing(replace(good, total=D(0), smallest=D(-1), strength=D(2)))
    assert set(refusal.value.errors) == {"total", "smallest", "strength"}


def test_bad_lines_bad_lots_and_solvents_alone_are_refused_by_name():
    lots = shelf("geraniol@10%/ethanol 9g", "ethanol 50g")
    with pytest.raises(BadFormula):
        plan_weighing(request((), lots, "10"))
    with pytest.raises(NoOdorant):
        plan_weighing(request(formula("ethanol 5"), lots, "10"))
    with pytest.raises(BadLots):
        plan_weighing(request(ROSE, (*lots, lots[0]), "10"))
