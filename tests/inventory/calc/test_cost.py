from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.cost import (
    CostPart,
    NothingToCost,
    cost_of,
    cost_per_gram_after_loss,
    planned_and_actual,
)
from studio.kernel.mass import BadNumber

D = Decimal

parts = st.builds(
    CostPart,
    lot=st.integers(1, 99),
    mass=st.integers(1, 10**9).map(lambda n: D(n).scaleb(-6)),
    cost_per_gram=st.integers(0, 10**12).map(lambda n: D(n).scaleb(-9)),
)


def test_a_tenth_of_a_material_costs_a_tenth_and_its_solvent():
    cost = cost_of([CostPart(1, D("1.0"), D("0.50")), CostPart(2, D("9.0"), D("0.02"))])

    assert (cost.total, cost.per_gram) == (D("0.680000"), D("0.068000000"))
    assert cost.lots_without_cost == ()


def test_cost_is_carried_through_generations():
    stock = cost_of([CostPart(1, D("1.0"), D("0.50")), CostPart(2, D("9.0"), D("0.02"))])
    blend = cost_of([CostPart(3, D("2.0"), stock.per_gram), CostPart(2, D("2.0"), D("0.02"))])

    assert blend.per_gram == D("0.044000000")


def test_a_lot_of_unknown_cost_is_named_and_not_taken_for_free():
    cost = cost_of(
        [CostPart(7, D("1.0"), None), CostPart(1, D("2.0"), D("0.50")), CostPart(5, D("0.5"), None)]
    )

    assert cost.total is None
    assert cost.per_gram is None
    assert cost.known == D("1.000000")
    assert cost.lots_without_cost == (5, 7)
    assert cost.mass_without_cost == D("1.5")


def test_a_gift_costs_nothing_and_that_is_known():
    cost = cost_of([CostPart(1, D("1.0"), D(0))])

    assert (cost.total, cost.lots_without_cost) == (D(0), ())


def test_a_batch_shows_how_much_dearer_it_became():
    planned = [CostPart(1, D("1.0"), D("0.50")), CostPart(2, D("9.0"), D("0.02"))]
    actual = [CostPart(1, D("1.1"), D("0.50")), CostPart(2, D("9.0"), D("0.02"))]

    batch = planned_and_actual(planned=planned, actual=actual)

    assert batch.more_in_total == D("0.050000")
    assert batch.more_per_gram == D("0.072277228") - D("0.068000000")


def test_the_difference_is_unknown_when_one_side_is():
    known, unknown = [CostPart(1, D(1), D("0.50"))], [CostPart(1, D(1), None)]

    assert planned_and_actual(planned=known, actual=unknown).more_in_total is None


def test_what_is_left_after_a_loss_bears_the_whole_cost():
    assert cost_per_gram_after_loss(cost_per_gram=D("0.30"), book=D(10), actual=D(8)) == D("0.375000000")


@given(st.lists(parts, min_size=1, max_size=20))
def test_cost_per_gram_is_the_weighted_mean_and_between_the_cheapest_and_the_dearest(weighed):
    cost = cost_of(weighed)
    exact = sum(Fraction(p.mass) * Fraction(p.cost_per_gram) for p in weighed) / sum(
        Fraction(p.mass) for p in weighed
    )

    assert abs(Fraction(cost.per_gram) - exact) <= Fraction(1, 2 * 10**9)
    assert min(p.cost_per_gram for p in weighed) <= cost.per_gram <= max(p.cost_per_gram for p in weighed)


def test_nothing_weighed_has_no_cost():
    with pytest.raises(NothingToCost):
        cost_of([])


@pytest.mark.parametrize(
    "part",
    [
        CostPart(1, D(0), D(1)),
        CostPart(1, D(-1), D(1)),
        CostPart(1, D("NaN"), D(1)),
        CostPart(1, D(1), D(-1)),
        CostPart(1, D(1), D("Infinity")),
    ],
)
def test_impossible_masses_and_costs_are_refused(part):
    with pytest.raises(BadNumber):
        cost_of([part])


def test_a_gain_is_no_loss_to_bear():
    with pytest.raises(BadNumber):
        cost_per_gram_after_loss(cost_per_gram=D(1), book=D(10), actual=D(11))
