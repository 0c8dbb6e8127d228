"""Strength arithmetic against the trade's own rules of thumb and one worked formula.

Common practice, no source: the statements of the trade are exact by mass and can be checked by hand. The worked formula
is invented; its figures follow from the two lines of arithmetic in `batches.calc.strength`.
"""

from decimal import Decimal

import pytest

from batches.calc.strength import (
    ceiling_as_written,
    odorant_parts,
    restated,
    strength_as_written,
    swap,
    swapped,
    total_parts,
)
from batches.calc.weigh_plan import NoPlan, plan_weighing
from studio.kernel.mass import nearest_fraction
from tests.batches.calc.shelves import formula, request, shelf

D = Decimal


def in_percent(fraction, places="0.01"):
    return (fraction * 100).quantize(D(places))


def test_equal_masses_of_a_one_and_a_ten_percent_stock_halve_both():
    """1:1 by mass of 1 % A and 10 % B: 0.5 % A, 5 % B, 5.5 % in all. Common practice, no source."""
    lines = formula("geraniol@1%/ethanol 1", "linalool@10%/ethanol 1")
    assert strength_as_written(lines) == D("0.055")
    assert [line.strength * line.parts / total_parts(lines) for line in lines] == [D("0.005"), D("0.05")]


def test_one_part_of_ten_percent_and_nine_of_solvent_make_one_percent():
    """Common practice, no source."""
    assert strength_as_written(formula("geraniol@10%/ethanol 1", "ethanol 9")) == D("0.01")


@pytest.mark.parametrize(("grams", "wanted", "stock"), [("5", "0.02", "0.1"), ("12.5", "0.001", "0.01")])
def test_m_grams_at_w_take_m_w_over_the_strength_of_the_stock(grams, wanted, stock):
    """m·w/W of the stock, solvent the rest. Common practice, no source."""
    lines = formula(f"geraniol@{D(stock) * 100:f}%/ethanol 1", "ethanol 1")
    taken = restated(lines, mass=D(grams), strength=D(wanted))
    assert taken[0].mass == D(grams) * D(wanted) / D(stock)


WORKED = formula(
    "phenethyl alcohol@10%/ethanol 14",
    "linalool@10%/ethanol 12",
    "hydroxycitronellal@10%/ethanol 9",
    "benzyl salicylate@10%/ethanol 9",
    "geraniol@10%/ethanol 8",
    "eugenol@10%/ethanol 6",
    "indole@1%/ethanol 8",
    "coumarin@1%/ethanol 8",
    "heliotropin@1%/ethanol 7.5",
    "vanillin 0.025",
    "ethanol 18.475",
)
"""T = 100, a = 6.06, F = 18.475."""
STOCKS = [
    *(
        f"{line.name}@{line.strength * 100:f}%/ethanol 50g"
        for line in WORKED
        if not line.is_solvent and line.strength < 1
    ),
    *(f"{line.name} 50g" for line in WORKED if not line.is_solvent),
    "ethanol 500g",
]


def test_the_worked_formula_is_at_6_06_percent_under_a_ceiling_of_7_43():
    """Invented formula, common practice, no source."""
    assert (odorant_parts(WORKED), total_parts(WORKED)) == (D("6.06"), 100)
    assert in_percent(strength_as_written(WORKED)) == D("6.06")
    assert in_percent(ceiling_as_written(WORKED)) == D("7.43")


def test_each_stronger_stock_lifts_the_ceiling_by_the_formula():
    """a/(T − F − Σ freed), freed = n(1 − p/q), after each of the two steps."""
    first = swap(WORKED, key=1, strength=D(1))
    assert first.freed == D("14") * (1 - D("0.1"))
    assert nearest_fraction(first.ceiling) == nearest_fraction(D("6.06") / (D("81.525") - D("12.6")))
    assert in_percent(first.ceiling) == D("8.79")
    after = swapped(WORKED, first)
    second = swap(after, key=2, strength=D(1))
    assert second.freed == D("10.8")
    assert nearest_fraction(second.ceiling) == nearest_fraction(
        D("6.06") / (D("81.525") - D("12.6") - D("10.8"))
    )
    assert in_percent(second.ceiling) == D("10.43")


def test_the_plan_brings_it_to_ten_percent_by_moving_two_lines():
    plan = plan_weighing(request(WORKED, shelf(*STOCKS), "50", strength=D("0.1")))
    assert [change.name for change in plan.changes] == ["phenethyl alcohol", "linalool"]
    assert in_percent(plan.strength, "0.0001") == D("10.0000")
    assert plan.flags == ()
    scale = D(50) * D("0.1") / D("6.06")
    for change, freed in zip(plan.changes, (D("12.6"), D("10.8")), strict=True):
        assert abs(change.freed - freed * scale) <= D("0.000001")


def test_no_single_line_would_have_done_and_no_other_pair():
    """Without the neat lot of either of the two, two lines are no longer enough."""
    for name in ("phenethyl alcohol", "linalool"):
        stocks = [stock for stock in STOCKS if stock != f"{name} 50g"]
        assert plan_weighing(request(WORKED, shelf(*stocks), "50", strength=D("0.1"))).moved == 3


def test_with_the_stocks_as_written_the_refusal_names_the_ceiling_as_what_is_reached():
    stocks = [stock for stock in STOCKS if "@" in stock or stock.startswith(("vanillin", "ethanol"))]
    with pytest.raises(NoPlan) as found:
        plan_weighing(request(WORKED, shelf(*stocks), "50", strength=D("0.1")))
    assert found.value.reasons[0].reached == nearest_fraction(ceiling_as_written(WORKED))
    assert found.value.reasons[0].lines[:2] == (1, 2)
