"""Lots and grams that a hand has pinned to a line, and the plan made around them."""

from decimal import Decimal

import pytest

from batches.calc.weigh_plan import NoPlan, plan_weighing
from batches.calc.weigh_request import BadWeighRequest, Pin
from tests.batches.calc.shelves import formula, request, shelf

D = Decimal
ROSE = formula("geraniol@10%/ethanol 4", "linalool@10%/ethanol 2", "ethanol 4")
SHELF = shelf(
    "geraniol@10%/ethanol 9g",
    "geraniol@10%/ethanol 9g",
    "geraniol 9g",
    "linalool@10%/ethanol 9g",
    "ethanol 50g",
    "ethanol 50g",
    "geraniol@10%/ethanol 9g held",
)


def plan(pins, lots=SHELF, lines=ROSE, total="10", **more):
    return plan_weighing(request(lines, lots, total, pins=pins, **more))


def pours(found):
    return [(pour.line, pour.lot, str(pour.mass)) for pour in found.pours]


def test_a_pinned_lot_is_taken_although_another_would_come_first():
    assert pours(plan({1: (Pin(102),)}))[0] == (1, 102, "4.000000")
    assert pours(plan({1: (Pin(103),)}))[0] == (1, 103, "0.400000")


def test_pinned_grams_are_kept_whatever_they_hold_and_solvent_takes_the_rest():
    found = plan({1: (Pin(101, D("3")),)})
    assert pours(found) == [(1, 101, "3.000000"), (2, 104, "2.000000"), (3, 105, "5.000000")]
    assert found.lines[0].deviation == D("-0.25")
    assert "because its grams are pinned" in found.lines[0].sentence
    assert found.strength == D("0.05")


def test_a_line_pinned_to_two_lots_is_poured_from_both():
    assert [pour[:2] for pour in pours(plan({1: (Pin(101), Pin(102))}))][:2] == [(1, 101), (1, 102)]


def test_a_pinned_mass_is_made_up_from_the_pinned_lot_left_open():
    assert pours(plan({1: (Pin(101, D("1")), Pin(103))}))[:2] == [(1, 101, "1.000000"), (1, 103, "0.300000")]


def test_pinned_grams_of_a_lot_are_not_there_for_other_lines():
    lines = formula("geraniol@10%/ethanol 4", "geraniol@10%/ethanol 2", "ethanol 4")
    lots = shelf("geraniol@10%/ethanol 5g", "geraniol 1g", "ethanol 50g")
    found = plan({1: (Pin(101, D("4")),)}, lots, lines)
    assert pours(found)[:2] == [(1, 101, "4.000000"), (2, 102, "0.200000")]


def test_a_pinned_crumb_stays_and_is_flagged():
    found = plan({1: (Pin(103, D("0.01")),)})
    assert pours(found)[0] == (1, 103, "0.010000")
    assert [flag.lot for flag in found.flags] == [103]


def test_a_free_solvent_can_be_pinned_to_a_lot_and_to_grams():
    assert pours(plan({3: (Pin(106),)}))[2] == (3, 106, "4.000000")
    lines = formula("geraniol@10%/ethanol 4", "ethanol 4", "dipropylene glycol 2")
    lots = shelf("geraniol@10%/ethanol 9g", "ethanol 50g", "dipropylene glycol 9g")
    assert pours(plan({3: (Pin(103, D("1")),)}, lots, lines)) == [
        (1, 101, "4.000000"),
        (2, 102, "5.000000"),
        (3, 103, "1.000000"),
    ]


def test_everything_pinned_to_the_gram_is_a_plan_when_it_adds_up():
    pins = {1: (Pin(101, D("4")),), 2: (Pin(104, D("2")),), 3: (Pin(105, D("4")),)}
    assert [mass for _, _, mass in pours(plan(pins))] == ["4.000000", "2.000000", "4.000000"]


def test_pinned_grams_that_leave_no_way_to_the_batch_mass_are_no_plan():
    pins = {1: (Pin(101, D("4")),), 2: (Pin(104, D("2")),), 3: (Pin(105, D("3")),)}
    with pytest.raises(NoPlan, match="9 g of it are pinned"):
        plan(pins)


def test_a_pinned_lot_that_does_not_hold_enough_is_named_as_missing():
    lots = (*SHELF[:1], *shelf("x 1g", "geraniol@10%/ethanol 1g")[1:], *SHELF[2:])
    with pytest.raises(NoPlan, match="are there in the pinned lots") as refusal:
        plan({1: (Pin(102),)}, lots)
    assert [reason.kind for reason in refusal.value.reasons] == ["missing"]


@pytest.mark.parametrize(
    ("pins", "sentence"),
    [
        ({9: (Pin(101),)}, "no line 9"),
        ({1: (Pin(999),)}, "not on the shelf"),
        ({1: (Pin(104),)}, "another material"),
        ({1: (Pin(107),)}, "on hold"),
        ({1: (Pin(101, D(0)),)}, "more than 0 g"),
        ({1: (Pin(101, D("NaN")),)}, "more than 0 g"),
        ({1: (Pin(101), Pin(101))}, "twice"),
        ({1: (Pin(101, D("9.5")),)}, "9 g are available"),
        ({1: (Pin(101, D("5")), Pin(102))}, "already hold 0.5 g"),
    ],
)
def test_a_pin_that_cannot_be_is_refused(pins, sentence):
    with pytest.raises(BadWeighRequest, match=sentence):
        plan(pins)


def test_a_held_lot_may_be_pinned_when_it_is_allowed():
    assert pours(plan({1: (Pin(107),)}, allowed_lots=frozenset({107})))[0][:2] == (1, 107)
