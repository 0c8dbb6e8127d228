"""Crossing lots in small vials."""

from collections import Counter
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.calc.grid import MOST_VIALS, BadGrid, GridLot, GridTooLarge, Ratio, lay_out_grid


def lot(name, strength="0.1", available=100):
    return GridLot(name, Decimal(strength), Decimal(available))


def ratio(a, b):
    return Ratio(Decimal(a), Decimal(b))


def grid(side_a, side_b, ratios=((1, 1),), vial=5, smallest="0.2", solvent=None):
    return lay_out_grid(
        side_a=side_a,
        side_b=side_b,
        ratios=[ratio(*one) for one in ratios],
        vial_mass=Decimal(vial),
        smallest=Decimal(smallest),
        solvent=solvent,
    )


lots = st.lists(st.decimals("0.001", 1, places=3), min_size=1, max_size=4)
ratios = st.lists(st.tuples(st.integers(1, 20), st.integers(1, 20)), min_size=1, max_size=3)


def sides(strengths_a, strengths_b):
    return (
        [lot(f"A{place}", strength) for place, strength in enumerate(strengths_a)],
        [lot(f"B{place}", strength) for place, strength in enumerate(strengths_b)],
    )


@given(a=lots, b=lots, ratios=ratios, vial=st.decimals(1, 30, places=6), with_controls=st.booleans())
def test_every_vial_adds_up_and_every_total_is_what_is_poured(a, b, ratios, vial, with_controls):
    side_a, side_b = sides(a, b)
    plan = grid(side_a, side_b, ratios, vial, solvent=lot("solvent", 1) if with_controls else None)
    assert sum(not one.is_control for one in plan.vials) == len(a) * len(b) * len(ratios)
    strengths = {each.lot: each.strength for each in (*side_a, *side_b)}
    poured: Counter[str] = Counter()
    for one in plan.vials:
        assert sum(portion.mass for portion in one.portions) == vial
        for portion in one.portions:
            poured[portion.lot] += portion.mass
            if portion.side != "solvent":
                assert (
                    abs(portion.strength * vial - portion.mass * strengths[portion.lot])
                    <= Decimal("1e-9") * vial
                )
    assert {total.lot: total.needed for total in plan.totals} == poured


@given(a=lots, b=lots, ratios=ratios, with_controls=st.booleans())
def test_each_stock_is_taken_in_hand_once_and_every_portion_is_poured_once(a, b, ratios, with_controls):
    plan = grid(*sides(a, b), ratios, solvent=lot("solvent", 1) if with_controls else None)
    names = [pour.lot for pour in plan.pours]
    assert len(names) == len(set(names))
    poured = sorted((number, pour.lot, mass) for pour in plan.pours for number, mass in pour.into)
    assert poured == sorted(
        (one.number, portion.lot, portion.mass) for one in plan.vials for portion in one.portions
    )
    for pour in plan.pours:
        assert [number for number, _ in pour.into] == sorted(number for number, _ in pour.into)


@given(
    ratios=ratios,
    vial=st.decimals("0.1", 10, places=2),
    smallest=st.decimals("0.01", "0.5", places=3),
)
def test_vials_of_the_mass_advised_have_no_portion_too_small_and_smaller_ones_have(ratios, vial, smallest):
    side_a, side_b = sides(["0.1"], ["0.01"])
    plan = grid(side_a, side_b, ratios, vial, smallest, lot("solvent", 1))
    enough = plan.vial_mass_that_weighs
    assert grid(side_a, side_b, ratios, enough, smallest, lot("solvent", 1)).too_small == ()
    assert grid(side_a, side_b, ratios, enough - Decimal("0.001"), smallest).too_small
    assert bool(plan.too_small) == (vial < enough)


def test_sides_are_crossed_in_the_order_given_and_numbered_from_1():
    plan = grid([lot("a"), lot("b")], [lot("x"), lot("y")], [(1, 1), (1, 3)])
    rows = [(one.number, *(portion.lot for portion in one.portions), one.ratio.b) for one in plan.vials]
    assert rows[:3] == [(1, "a", "x", 1), (2, "a", "x", 3), (3, "a", "y", 1)]
    assert rows[-1] == (8, "b", "y", 3)


def test_stocks_are_poured_side_a_first_then_side_b_then_solvent():
    plan = grid([lot("a"), lot("b")], [lot("x")], solvent=lot("ethanol", 1))
    assert [(pour.lot, pour.side) for pour in plan.pours] == [
        ("a", "A"),
        ("b", "A"),
        ("x", "B"),
        ("ethanol", "solvent"),
    ]


def test_controls_hold_each_lot_alone_at_each_strength_it_has_in_the_grid():
    plan = grid([lot("a", "0.01")], [lot("x"), lot("y")], [(1, 1), (1, 3)], solvent=lot("ethanol", 1))
    controls = [one for one in plan.vials if one.is_control]
    alone = [(one.portions[0].lot, one.portions[0].strength) for one in controls]
    assert Counter(alone) == Counter(
        {
            ("a", Decimal("0.005")): 1,
            ("a", Decimal("0.0025")): 1,
            ("x", Decimal("0.05")): 1,
            ("x", Decimal("0.075")): 1,
            ("y", Decimal("0.05")): 1,
            ("y", Decimal("0.075")): 1,
        }
    )
    assert all(one.portions[1].lot == "ethanol" and one.portions[1].strength == 0 for one in controls)


def test_a_stock_that_runs_short_is_told_with_the_grams():
    plan = grid([lot("a", available=4)], [lot("x"), lot("y")])
    assert [(total.lot, total.short) for total in plan.totals] == [("a", 1), ("x", 0), ("y", 0)]
    assert not plan.can_be_poured
    assert "Lot a is short by 1 g: the grid takes 5 g and 4 g are available." in plan.sentences


def test_a_portion_too_small_to_weigh_is_told_with_the_vial_mass_that_would_do():
    plan = grid([lot("a")], [lot("x")], [(1, 1), (1, 49)], vial=5)
    assert [(pour.vial, pour.lot, pour.mass) for pour in plan.too_small] == [(2, "a", Decimal("0.1"))]
    assert "Vials of 10 g would do" in plan.sentences[0]


def test_a_grid_that_can_be_poured_has_nothing_to_say():
    assert grid([lot("a")], [lot("x")]).sentences == ()


def test_every_fault_of_a_grid_is_told_at_once():
    with pytest.raises(BadGrid) as refusal:
        grid([lot("a", 2), lot("a")], [], [(0, 1)], vial=0, smallest=-1)
    assert {"side_b", "lots", "lots.a.strength", "ratios.0", "vial_mass", "smallest"} <= set(
        refusal.value.errors
    )


@pytest.mark.parametrize("bad", [(1, -1), ("NaN", 1), (1, "Infinity"), (1, 0), (1, 10**9)])
def test_a_ratio_with_a_part_that_is_none_is_refused(bad):
    with pytest.raises(BadGrid):
        grid([lot("a")], [lot("x")], [bad])


def test_a_lot_cannot_stand_on_both_sides_nor_be_the_solvent_too():
    with pytest.raises(BadGrid, match="twice"):
        grid([lot("a")], [lot("a")])
    with pytest.raises(BadGrid, match="twice"):
        grid([lot("a")], [lot("x")], solvent=lot("x", 1))


def test_a_ratio_that_leaves_less_than_a_microgram_is_refused():
    with pytest.raises(BadGrid, match="less than a microgram"):
        grid([lot("a")], [lot("x")], [(1, 1_000_000)], vial="0.1")


def test_more_vials_than_three_digit_numbers_are_refused():
    many = [lot(f"A{place}") for place in range(31)], [lot(f"B{place}") for place in range(30)]
    with pytest.raises(GridTooLarge, match=str(MOST_VIALS)):
        grid(*many)


def test_controls_count_among_the_vials():
    side_a, side_b = [lot(f"A{place}") for place in range(30)], [lot(f"B{place}") for place in range(30)]
    assert len(grid(side_a, side_b).vials) == MOST_VIALS
    with pytest.raises(GridTooLarge):
        grid(side_a, side_b, solvent=lot("ethanol", 1))
