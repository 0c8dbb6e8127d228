from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.calc.contents import (
    ContentsNotWhole,
    GainNotLoss,
    LossExceedsSolvent,
    NothingMixed,
    concentration_of_loss,
    evaporated,
    mixed,
    strength_of,
)
from studio.kernel.mass import BadNumber, fractions_summing_to_one

LINALOOL, ETHANOL, WATER, VANILLIN = 1, 2, 3, 4
D = Decimal
NINE_PLACES = D("1e-9")

masses = st.integers(1, 50_000_000).map(lambda micrograms: D(micrograms).scaleb(-6))


@st.composite
def contents(draw, least=1):
    materials = draw(st.lists(st.integers(1, 12), min_size=least, max_size=8, unique=True))
    weights = {m: D(draw(st.integers(1, 10**6))) for m in materials}
    found = fractions_summing_to_one(weights, sorted(weights))
    return {m: f for m, f in found.items() if f}


def test_a_stock_of_one_gram_in_ten_holds_a_tenth():
    stock = mixed([(D("1.0"), {LINALOOL: D(1)}), (D("9.0"), {ETHANOL: D("0.94"), WATER: D("0.06")})])

    assert stock == {LINALOOL: D("0.1"), ETHANOL: D("0.846"), WATER: D("0.054")}


def test_fractions_come_in_ascending_order_of_material_whatever_was_weighed_first():
    parts = [(D(1), {VANILLIN: D(1)}), (D(2), {LINALOOL: D(1)}), (D(3), {ETHANOL: D(1)})]

    assert list(mixed(parts).items()) == list(mixed(parts[::-1]).items())
    assert list(mixed(parts)) == [LINALOOL, ETHANOL, VANILLIN]


def test_three_equal_parts_add_up_to_exactly_one():
    thirds = mixed([(D(1), {m: D(1)}) for m in (1, 2, 3)])

    assert sorted(thirds.values()) == [D("0.333333333"), D("0.333333333"), D("0.333333334")]


def test_a_trace_that_rounds_away_is_left_out():
    assert mixed([(D("0.000001"), {LINALOOL: D(1)}), (D(10000), {ETHANOL: D(1)})]) == {ETHANOL: D(1)}


@given(st.lists(st.tuples(masses, contents()), min_size=1, max_size=12))
def test_a_mixture_is_the_weighted_mean_to_nine_places_and_whole(parts):
    total = sum(Fraction(mass) for mass, _ in parts)
    exact = {}
    for mass, held in parts:
        for material, fraction in held.items():
            exact[material] = exact.get(material, 0) + Fraction(mass) * Fraction(fraction) / total

    found = mixed(parts)

    assert sum(found.values()) == 1
    assert set(found) <= set(exact)
    for material, fraction in exact.items():
        assert abs(Fraction(found.get(material, D(0))) - fraction) < Fraction(1, 10**9)


@given(masses, contents())
def test_a_lot_drawn_off_another_contains_the_same(mass, held):
    assert mixed([(mass, held)]) == dict(sorted(held.items()))


def test_nothing_weighed_has_no_contents():
    with pytest.raises(NothingMixed):
        mixed([])


@pytest.mark.parametrize("mass", [D(0), D(-1), D("NaN"), D("Infinity"), D("0.0000001")])
def test_a_mass_that_is_none_is_refused(mass):
    with pytest.raises(BadNumber):
        mixed([(mass, {LINALOOL: D(1)})])


@pytest.mark.parametrize(
    "held",
    [
        {},
        {LINALOOL: D("0.5")},
        {LINALOOL: D("1.5"), ETHANOL: D("-0.5")},
        {LINALOOL: D("NaN")},
        {LINALOOL: D("0.5"), ETHANOL: D("0.500000001")},
    ],
)
def test_contents_that_do_not_add_up_are_refused(held):
    with pytest.raises(ContentsNotWhole):
        mixed([(D(1), held)])


def test_half_the_lot_evaporated_doubles_the_strength():
    found = evaporated(
        contents={LINALOOL: D("0.1"), ETHANOL: D("0.9")}, solvents={ETHANOL}, book=D(10), actual=D(5)
    )

    assert found == {LINALOOL: D("0.2"), ETHANOL: D("0.8")}


def test_solvents_share_the_loss_in_proportion_to_their_fractions():
    # 10 g with 6 g ethanol and 3 g water lose 3 g: 4 g and 2 g are left in 7 g.
    found = evaporated(
        contents={LINALOOL: D("0.1"), ETHANOL: D("0.6"), WATER: D("0.3")},
        solvents={ETHANOL, WATER},
        book=D(10),
        actual=D(7),
    )

    assert found == {LINALOOL: D("0.142857143"), ETHANOL: D("0.571428571"), WATER: D("0.285714286")}


def test_a_solvent_that_cannot_have_evaporated_is_kept_like_any_material():
    found = evaporated(
        contents={LINALOOL: D("0.1"), ETHANOL: D("0.6"), WATER: D("0.3")},
        solvents={ETHANOL},
        book=D(10),
        actual=D(5),
    )

    assert found == {LINALOOL: D("0.2"), ETHANOL: D("0.2"), WATER: D("0.6")}


def test_all_solvent_gone_leaves_the_material_neat():
    found = evaporated(
        contents={LINALOOL: D("0.1"), ETHANOL: D("0.9")}, solvents={ETHANOL}, book=D(10), actual=D(1)
    )

    assert found == {LINALOOL: D(1)}


def test_more_lost_than_there_was_solvent_is_refused_with_both_masses():
    with pytest.raises(LossExceedsSolvent, match=r"9\.000001 g are missing.*only 9 g of solvent"):
        evaporated(
            contents={LINALOOL: D("0.1"), ETHANOL: D("0.9")},
            solvents={ETHANOL},
            book=D(10),
            actual=D("0.999999"),
        )


def test_a_lot_without_solvent_cannot_lose_any():
    with pytest.raises(LossExceedsSolvent):
        evaporated(contents={LINALOOL: D(1)}, solvents={ETHANOL}, book=D(10), actual=D("9.999999"))


@pytest.mark.parametrize("actual", [D(0), D(4)])
def test_a_bottle_of_nothing_but_solvent_keeps_its_contents(actual):
    held = {ETHANOL: D("0.94"), WATER: D("0.06")}

    assert evaporated(contents=held, solvents={ETHANOL, WATER}, book=D(10), actual=actual) == held


def test_more_there_than_in_the_book_is_no_evaporation():
    with pytest.raises(GainNotLoss, match="nothing has evaporated"):
        evaporated(contents={ETHANOL: D(1)}, solvents={ETHANOL}, book=D(10), actual=D("10.000001"))
    with pytest.raises(GainNotLoss):
        concentration_of_loss(book=D(10), actual=D("10.000001"))


@pytest.mark.parametrize(
    ("book", "actual"), [(D(0), D(0)), (D("NaN"), D(1)), (D(1), D("NaN")), (D(1), D(-1))]
)
def test_impossible_masses_of_a_loss_are_refused(book, actual):
    with pytest.raises(BadNumber):
        evaporated(contents={ETHANOL: D(1)}, solvents={ETHANOL}, book=book, actual=actual)


@given(contents(least=2), st.data(), masses, st.fractions(0, 1))
def test_what_does_not_evaporate_is_all_still_there(held, data, book, part):
    solvents = data.draw(st.sets(st.sampled_from(sorted(held)), min_size=1))
    solvent = strength_of(held, solvents) * book
    lost = (solvent * D(part.numerator) / D(part.denominator)).quantize(D("0.000001"))
    actual = book - min(lost, solvent.quantize(D("0.000001"), rounding="ROUND_DOWN"))
    assume(actual > 0)

    found = evaporated(contents=held, solvents=solvents, book=book, actual=actual)

    assert sum(found.values()) == 1
    for material, fraction in held.items():
        left = Fraction(found.get(material, D(0))) * Fraction(actual)
        if material not in solvents:
            assert abs(left - Fraction(fraction) * Fraction(book)) <= Fraction(actual) / 10**9
        assert left <= Fraction(fraction) * Fraction(book) + Fraction(actual) / 10**9
        # What stayed never falls by the rounding, and what was lost never rises; revisions rely on it.
        if material in solvents:
            assert found.get(material, D(0)) <= fraction
        else:
            assert found[material] >= fraction


@given(contents(least=2), masses)
def test_no_loss_changes_nothing(held, book):
    assert evaporated(contents=held, solvents={1, 2, 3}, book=book, actual=book) == dict(sorted(held.items()))


def test_two_losses_multiply():
    first = concentration_of_loss(book=D(10), actual=D(8))
    second = concentration_of_loss(book=D(6), actual=D(4))

    assert first * second == D("1.875")


def test_strength_is_the_share_of_the_declared_materials():
    held = {LINALOOL: D("0.1"), VANILLIN: D("0.05"), ETHANOL: D("0.85")}

    assert strength_of(held, {LINALOOL, VANILLIN}) == D("0.15")
    assert strength_of(held, {WATER}) == 0


def test_equal_masses_of_a_one_and_a_ten_percent_stock_hold_half_of_each():
    # Common practice, no source.
    one = {LINALOOL: D("0.01"), ETHANOL: D("0.99")}
    ten = {VANILLIN: D("0.1"), ETHANOL: D("0.9")}
    both = mixed([(D("2.5"), one), (D("2.5"), ten)])

    assert (both[LINALOOL], both[VANILLIN]) == (D("0.005"), D("0.05"))
    assert strength_of(both, {LINALOOL, VANILLIN}) == D("0.055")
