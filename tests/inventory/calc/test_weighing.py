"""What a balance can be trusted with, as the bench relies on it."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.weighing import (
    BadBalance,
    BadTolerance,
    BadWeighing,
    BalanceTraits,
    BeyondClass,
    NoBoundForCheck,
    buoyancy_factor,
    check_weighing,
    judge_weighing,
    maximum_permissible_error,
    net_mass_uncertainty,
    rectangular,
    root_sum_of_squares,
    smallest_net_weight,
)

MILLIGRAM = Decimal("0.001")
steps = st.decimals("0.00001", "0.1", places=5)


def balance(**changes):
    traits = {
        "capacity": Decimal(220),
        "readability": MILLIGRAM,
        "repeatability": MILLIGRAM,
        "linearity": Decimal("0.002"),
        "accuracy_class": "II",
        "verification_interval": Decimal("0.01"),
    }
    return BalanceTraits(**(traits | changes))


def test_the_uncertainty_of_a_net_mass_counts_display_and_linearity_twice():
    traits = balance(repeatability=Decimal(0), linearity=Decimal(0))
    two_readings = root_sum_of_squares([rectangular(MILLIGRAM / 2)] * 2)
    assert net_mass_uncertainty(traits) == pytest.approx(two_readings, rel=Decimal("1e-25"))


@given(s=steps, d=steps, l=steps)
def test_the_uncertainty_squared_is_the_exact_sum_to_the_stated_digits(s, d, l):  # noqa: E741
    u = net_mass_uncertainty(balance(readability=d, repeatability=s, linearity=l, verification_interval=d))
    exact = Fraction(s) ** 2 + Fraction(d) ** 2 / 6 + 2 * Fraction(l) ** 2 / 3
    assert abs(Fraction(u) ** 2 / exact - 1) < Fraction(1, 10**26)


@given(s=steps, d=steps, tolerance=st.decimals("0.001", "0.2", places=3))
def test_at_the_smallest_weight_twice_the_spread_is_just_within_tolerance(s, d, tolerance):
    traits = balance(readability=d, repeatability=s, verification_interval=d)
    spread = max(s, Decimal("0.41") * d)
    smallest = smallest_net_weight(traits, tolerance)
    assert 2 * spread <= tolerance * smallest
    assert 2 * spread > tolerance * (smallest - Decimal("0.000001"))


def test_a_wider_tolerance_never_asks_for_more():
    weights = [smallest_net_weight(balance(), Decimal(tau)) for tau in ("0.001", "0.01", "0.05")]
    assert weights == [Decimal("2.000000"), Decimal("0.200000"), Decimal("0.040000")]


@pytest.mark.parametrize("tolerance", ["0", "-0.01", "1", "NaN", "Infinity"])
def test_a_tolerance_outside_0_to_1_is_refused(tolerance):
    with pytest.raises(BadTolerance):
        smallest_net_weight(balance(), Decimal(tolerance))


def test_every_fault_of_a_balance_is_told_at_once():
    with pytest.raises(BadBalance) as refusal:
        balance(
            capacity=Decimal(0), readability=Decimal("NaN"), repeatability=Decimal(-1), accuracy_class="V"
        )
    assert set(refusal.value.errors) == {"capacity", "readability", "repeatability", "accuracy_class"}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"readability": Decimal(300)}, "readability"),
        ({"verification_interval": Decimal("0.0001")}, "verification_interval"),
        ({"verification_interval": Decimal(0)}, "verification_interval"),
        ({"linearity": Decimal("Infinity")}, "linearity"),
    ],
)
def test_traits_that_contradict_each_other_are_refused(changes, field):
    with pytest.raises(BadBalance) as refusal:
        balance(**changes)
    assert field in refusal.value.errors


def test_a_balance_that_was_never_verified_has_neither_class_nor_interval():
    assert balance(accuracy_class=None, verification_interval=None).accuracy_class is None


def test_a_check_weighing_without_a_bound_of_the_studio_is_judged_by_oiml_in_service():
    check = check_weighing(traits=balance(), reference_mass=Decimal(100), reading=Decimal("100.020"))
    assert check.passed
    assert (check.bound, check.bound_source) == (Decimal("0.02"), "oiml")
    assert "OIML R 76" in check.bound_origin


def test_a_reading_just_outside_the_bound_fails_and_says_what_to_do():
    check = check_weighing(traits=balance(), reference_mass=Decimal(100), reading=Decimal("99.979"))
    assert not check.passed
    assert check.deviation == Decimal("-0.021")
    assert "adjusted" in check.sentence


def test_the_bound_of_the_studio_goes_before_the_published_one():
    check = check_weighing(
        traits=balance(), reference_mass=Decimal(100), reading=Decimal("100.020"), bound=Decimal("0.005")
    )
    assert (check.passed, check.bound_source) == (False, "studio")


@pytest.mark.parametrize("missing", [{"accuracy_class": None}, {"verification_interval": None}])
def test_a_check_weighing_with_nothing_to_judge_by_is_refused_with_the_remedy(missing):
    with pytest.raises(NoBoundForCheck, match="bound of the studio"):
        check_weighing(traits=balance(**missing), reference_mass=Decimal(100), reading=Decimal(100))


def test_a_reference_mass_known_worse_than_a_third_of_the_bound_is_remarked_on():
    weighed = {"traits": balance(), "reference_mass": Decimal(100), "reading": Decimal(100)}
    assert check_weighing(**weighed, reference_uncertainty=Decimal("0.006")).remarks == ()
    assert len(check_weighing(**weighed, reference_uncertainty=Decimal("0.007")).remarks) == 1


def test_a_reference_mass_below_a_twentieth_of_the_capacity_is_remarked_on():
    check = check_weighing(traits=balance(), reference_mass=Decimal(10), reading=Decimal(10))
    assert "5 %" in check.remarks[0]


@pytest.mark.parametrize(
    ("reference", "reading", "bound"),
    [("0", "0", None), ("-1", "1", None), ("100", "NaN", None), ("221", "221", None), ("100", "100", "0")],
)
def test_an_impossible_check_weighing_is_refused(reference, reading, bound):
    with pytest.raises(BadWeighing):
        check_weighing(
            traits=balance(),
            reference_mass=Decimal(reference),
            reading=Decimal(reading),
            bound=None if bound is None else Decimal(bound),
        )


@given(intervals=st.integers(0, 10_000))
def test_the_permissible_error_never_falls_with_the_load_and_doubles_in_service(intervals):
    e = Decimal("0.01")
    at = {"accuracy_class": "III", "verification_interval": e}
    error = maximum_permissible_error(**at, load=intervals * e)
    assert error >= maximum_permissible_error(**at, load=max(intervals - 1, 0) * e)
    assert maximum_permissible_error(**at, load=intervals * e, in_service=True) == 2 * error


@pytest.mark.parametrize(("accuracy_class", "most"), [("II", 100_000), ("III", 10_000), ("IIII", 1_000)])
def test_a_load_beyond_the_class_is_refused(accuracy_class, most):
    at = {"accuracy_class": accuracy_class, "verification_interval": Decimal(1)}
    assert maximum_permissible_error(**at, load=Decimal(most)) == Decimal("1.5")
    with pytest.raises(BeyondClass, match=str(most)):
        maximum_permissible_error(**at, load=Decimal(most) + 1)


def test_a_weighing_below_the_smallest_weight_is_judged_too_small_with_the_numbers():
    judged = judge_weighing(traits=balance(), net_mass=Decimal("0.05"), tolerance=Decimal("0.01"))
    assert (judged.verdict, judged.good, judged.smallest) == ("too-small", False, Decimal("0.200000"))
    assert "0.05 g is below 0.2 g" in judged.sentence


def test_a_weighing_at_the_smallest_weight_is_good():
    judged = judge_weighing(traits=balance(), net_mass=Decimal("0.2"), tolerance=Decimal("0.01"))
    assert judged.good
    assert judged.relative_uncertainty == net_mass_uncertainty(balance()) / Decimal("0.2")


def test_a_weighing_beyond_the_capacity_is_told_so():
    judged = judge_weighing(traits=balance(), net_mass=Decimal(221), tolerance=Decimal("0.01"))
    assert judged.verdict == "over-capacity"


@pytest.mark.parametrize("mass", ["0", "-1", "NaN"])
def test_a_net_mass_that_is_nothing_cannot_be_judged(mass):
    with pytest.raises(BadWeighing):
        judge_weighing(traits=balance(), net_mass=Decimal(mass), tolerance=Decimal("0.01"))


def test_lighter_stuff_is_lifted_more_and_steel_not_at_all():
    factors = [buoyancy_factor(Decimal(density)) for density in ("0.79", "1", "8", "20")]
    assert factors == sorted(factors, reverse=True)
    assert factors[2] == 1


@pytest.mark.parametrize("density", ["0.0012", "0", "-1", "NaN"])
def test_a_density_of_air_or_less_has_no_buoyancy_factor(density):
    with pytest.raises(BadWeighing):
        buoyancy_factor(Decimal(density))


def test_a_negative_half_width_is_refused():
    with pytest.raises(BadWeighing):
        rectangular(Decimal("-0.1"))
