"""Dilutions and grids against trade arithmetic; common practice, no source, unless one is named."""

from decimal import Decimal

import pytest

from batches.calc.dilution import ParentLot, stock_recipe
from batches.calc.dilution_routes import propose_route
from batches.calc.grid import GridLot, Ratio, lay_out_grid
from inventory.calc.weighing import BalanceTraits


def test_one_part_of_ten_percent_and_nine_parts_of_solvent_make_one_percent():
    made = stock_recipe(strength=Decimal("0.01"), size=Decimal(10), parent_strength=Decimal("0.1"))
    assert (made.parent_mass, made.solvent_mass) == (1, 9)


def test_a_stock_takes_its_size_times_its_strength_over_the_parents():
    """m·w/W: 25 g of 2 % from 15 % take 3.333333 g."""
    made = stock_recipe(strength=Decimal("0.02"), size=Decimal(25), parent_strength=Decimal("0.15"))
    assert made.parent_mass == Decimal("3.333333")


def test_one_to_one_of_a_one_percent_and_a_ten_percent_stock_halves_both():
    """By mass: 0.5 % and 5 %, 5.5 % in all."""
    plan = lay_out_grid(
        side_a=[GridLot("a", Decimal("0.01"), Decimal(10))],
        side_b=[GridLot("b", Decimal("0.1"), Decimal(10))],
        ratios=[Ratio(Decimal(1), Decimal(1))],
        vial_mass=Decimal(2),
        smallest=Decimal("0.1"),
    )
    strengths = [portion.strength for portion in plan.vials[0].portions]
    assert strengths == [Decimal("0.005"), Decimal("0.05")]
    assert sum(strengths) == Decimal("0.055")


@pytest.mark.parametrize(
    ("display", "expected"),
    [("0.001", ("0.0003697", "0.0005228", "0.0006403")), ("0.01", ("0.003697",))],
)
def test_three_tenfold_dilutions_of_one_gram_and_nine_grow_uncertain_as_computed(display, expected):
    """Computed separately by first-order propagation (GUM eq. 10), u = d/√6 for each net mass: after 10 %,
    1 % and 0.1 % relative 0.0370 %, 0.0523 % and 0.0640 % at d = 1 mg; 0.370 % after the first at d = 10 mg.
    """
    traits = BalanceTraits(Decimal(220), Decimal(display), Decimal(0), Decimal(0))
    route = propose_route(
        strength=Decimal("0.1") ** len(expected),
        size=Decimal(10),
        parents=[ParentLot("neat", Decimal(1), Decimal(5))],
        traits=traits,
        weighing_tolerance=Decimal("0.82") * Decimal(display),
        strength_tolerance=Decimal("0.05"),
        ladder=[Decimal("0.1"), Decimal("0.01")],
        sizes=[Decimal(10)],
    )
    assert [step.parent_mass for step in route.steps] == [1] * len(expected)
    for step, relative in zip(route.steps, expected, strict=True):
        assert step.relative_uncertainty == pytest.approx(Decimal(relative), rel=Decimal("0.0005"))
