"""One step of making a stock."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.calc.dilution import (
    BadStock,
    BeyondSolubility,
    NoStrongerParent,
    ParentLot,
    check_parents,
    stock_recipe,
)
from studio.kernel.mass import BadNumber

strengths = st.decimals("0.0001", 1, places=4)
sizes = st.decimals("0.1", 500, places=3)


def recipe(strength, size, parent_strength, **more):
    return stock_recipe(
        strength=Decimal(strength), size=Decimal(size), parent_strength=Decimal(parent_strength), **more
    )


@given(strength=strengths, parent=strengths, size=sizes)
def test_parent_and_solvent_add_up_to_the_size_and_give_the_strength(strength, parent, size):
    strength, parent = min(strength, parent), max(strength, parent)
    made = stock_recipe(strength=strength, size=size, parent_strength=parent)
    assert made.parent_mass + made.solvent_mass == size
    assert abs(made.strength - strength) <= Decimal("0.0000005") * parent / size + Decimal("1e-9")


def test_the_parents_actual_strength_is_what_counts():
    made = recipe("0.01", 10, "0.1023")
    assert (made.parent_mass, made.solvent_mass) == (Decimal("0.977517"), Decimal("9.022483"))


def test_a_parent_of_the_same_strength_needs_no_solvent():
    assert recipe("0.1", 10, "0.1").solvent_mass == 0


def test_a_weaker_parent_is_refused_with_the_strength_it_can_give():
    with pytest.raises(NoStrongerParent, match=r"at most 9\.8 %"):
        recipe("0.1", 10, "0.098")


def test_more_than_the_solvent_dissolves_is_refused_with_both_numbers():
    with pytest.raises(BeyondSolubility, match=r"at most 7\.5 % of this material; 10 %") as refusal:
        recipe("0.1", 10, "1", solubility=Decimal("0.075"))
    assert refusal.value.extra == {"solubility": Decimal("0.075"), "strength": Decimal("0.1")}


def test_exactly_what_the_solvent_dissolves_can_be_made():
    assert recipe("0.1", 10, "1", solubility=Decimal("0.1")).parent_mass == 1


@pytest.mark.parametrize("solubility", ["0", "-0.1", "1.1", "NaN"])
def test_a_solubility_outside_0_to_1_is_refused(solubility):
    with pytest.raises(BadStock):
        recipe("0.1", 10, "1", solubility=Decimal(solubility))


@pytest.mark.parametrize(
    ("strength", "size", "parent"),
    [
        ("0", "1", "1"),
        ("-0.1", "1", "1"),
        ("1.1", "1", "1"),
        ("NaN", "1", "1"),
        ("0.1", "0", "1"),
        ("0.1", "NaN", "1"),
        ("0.1", "1", "0"),
        ("0.1", "1", "2"),
    ],
)
def test_numbers_that_are_no_strength_or_size_are_refused(strength, size, parent):
    with pytest.raises(BadNumber):
        recipe(strength, size, parent)


def test_less_than_a_microgram_of_parent_is_refused():
    with pytest.raises(BadStock, match="less than a microgram"):
        recipe("0.000000001", "0.001", "1")


def test_every_fault_of_the_parents_is_told_at_once():
    with pytest.raises(BadStock) as refusal:
        check_parents(
            [
                ParentLot("a", Decimal(2), Decimal(-1), Decimal("NaN"), Decimal(1)),
                ParentLot("b", Decimal(1), Decimal(1)),
                ParentLot("b", Decimal(1), Decimal(1)),
            ]
        )
    assert len(refusal.value.errors["parents.0"]) == 4
    assert refusal.value.errors["parents.2"] == ["Lot b is given twice."]


def test_no_parents_at_all_are_refused():
    with pytest.raises(BadStock):
        check_parents([])
