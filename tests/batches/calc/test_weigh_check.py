"""A plan edited by hand, judged by the rules of the plan: every fault in a sentence, with what follows from it."""

from dataclasses import replace
from decimal import Decimal

import pytest

from batches.calc.weigh_check import HandPour, check_plan
from batches.calc.weigh_request import BadWeighRequest, SolventBound
from tests.batches.calc.shelves import formula, material, request, shelf

D = Decimal
ETHANOL = material("ethanol")
LINES = formula("geraniol@10%/ethanol 4", "linalool@10%/ethanol 2", "ethanol 4")
SHELF = shelf(
    "geraniol@10%/ethanol 9g cost=2",
    "geraniol 9g",
    "linalool@10%/ethanol 9g",
    "ethanol 50g",
    "geraniol@10%/ethanol 9g held",
    "geraniol@10%/ethanol 3g exp=2026-01-14",
)
ASKED = request(LINES, SHELF, "10")
GOOD = ((1, 101, "4"), (2, 103, "2"), (3, 104, "4"))


def check(pours, asked=ASKED):
    return check_plan(asked, [HandPour(line, lot, D(mass)) for line, lot, mass in pours])


def kinds(found):
    return [fault.kind for fault in found.faults]


def test_a_good_plan_has_no_fault_and_shows_what_it_comes_to():
    found = check(GOOD)
    assert found.sound
    assert (found.total, found.strength, found.solvents) == (D(10), D("0.06"), {ETHANOL: D("0.94")})
    assert found.cost.known == 8


def test_a_swap_by_hand_is_no_fault_but_a_change():
    found = check([(1, 102, "0.4"), (2, 103, "2"), (3, 104, "7.6")])
    assert found.sound
    assert [change.name for change in found.changes] == ["geraniol"]


def test_too_much_of_a_line_names_the_deviation_and_what_becomes_of_the_batch():
    found = check([(1, 101, "5"), (2, 103, "2"), (3, 104, "3")])
    assert kinds(found) == ["deviation", "strength"]
    assert found.faults[0].sentence == (
        "geraniol: 0.5 g of odorant instead of 0.4 g, 25 % more; the tolerance is 2 %."
    )
    assert found.faults[1].sentence == "The batch comes to 7 %; 6 % is wanted."


def test_a_line_without_a_pour_lacks_all_of_it():
    found = check([(1, 101, "4"), (3, 104, "6")])
    assert "linalool: 0 g of odorant instead of 0.2 g, 100 % less" in found.faults[0].sentence


def test_pours_that_do_not_add_up_are_named_with_the_difference():
    found = check([*GOOD[:2], (3, 104, "3.5")])
    assert kinds(found) == ["total", "strength"]
    assert "0.5 g less than the 10 g wanted" in found.faults[0].sentence


def test_more_than_a_lot_has_is_named_over_all_lines_together():
    lines = formula("geraniol@10%/ethanol 4", "geraniol@10%/ethanol 2", "ethanol 4")
    asked = request(lines, shelf("geraniol@10%/ethanol 5g", "geraniol@10%/ethanol 9g", "ethanol 50g"), "10")
    found = check([(1, 101, "4"), (2, 101, "2"), (3, 103, "4")], asked)
    assert kinds(found) == ["available"]
    assert "1 g too much" in found.faults[0].sentence


def test_lots_on_hold_or_expired_are_named_unless_allowed():
    for lot, word in ((105, "is on hold"), (106, "expired on 2026-01-14")):
        pours = [(1, lot, "3"), (1, 101, "1"), *GOOD[1:]]
        found = check(pours)
        assert kinds(found) == ["unusable"]
        assert word in found.faults[0].sentence
        assert check(pours, replace(ASKED, allowed_lots=frozenset({lot}))).sound


def test_a_crumb_is_named_with_the_smallest_pour():
    found = check([(1, 101, "3.99"), (1, 102, "0.001"), (2, 103, "2"), (3, 104, "4.009")])
    assert kinds(found) == ["crumb"]
    assert "below 0.02 g" in found.faults[0].sentence


def test_free_solvents_out_of_proportion_are_named_unless_a_bound_shifts_them():
    lines = formula("geraniol@10%/ethanol 4", "ethanol 4.5", "dipropylene glycol 1.5")
    lots = shelf("geraniol@10%/ethanol 9g", "ethanol 50g", "dipropylene glycol 9g")
    asked = request(lines, lots, "10")
    pours = [(1, 101, "4"), (2, 102, "5"), (3, 103, "1")]
    assert kinds(check(pours, asked)) == ["proportion", "proportion"]
    bound = {material("dipropylene glycol"): SolventBound(highest=D("0.1"))}
    assert check(pours, replace(asked, solvent_bounds=bound)).sound


def test_a_broken_bound_is_named_with_the_share_reached():
    found = check(GOOD, replace(ASKED, solvent_bounds={ETHANOL: SolventBound(highest=D("0.9"))}))
    assert kinds(found) == ["bound"]
    assert found.faults[0].sentence == "ethanol comes to 94 % of the batch; at most 90 % is wanted."


def test_more_than_the_vessel_carries_is_named():
    assert kinds(check(GOOD, replace(ASKED, largest_total=D(8)))) == ["vessel"]


def test_pours_that_cannot_be_reckoned_with_are_named_and_left_out():
    found = check([*GOOD, (9, 101, "1"), (1, 999, "1"), (1, 103, "1"), (1, 101, "-1"), (1, 101, "NaN")])
    assert kinds(found) == ["line", "lot", "lot", "mass", "mass"]
    assert found.total == 10


def test_two_pours_of_one_lot_for_one_line_are_added_up():
    assert check([(1, 101, "3.99"), (1, 101, "0.01"), *GOOD[1:]]).sound


def test_nothing_poured_is_a_fault():
    found = check([])
    assert kinds(found) == ["total"]
    assert found.strength is None


def test_a_request_that_makes_no_sense_is_refused_here_too():
    with pytest.raises(BadWeighRequest):
        check(GOOD, replace(ASKED, total=D(0)))
