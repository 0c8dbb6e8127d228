"""Weighing against published rules and worked examples; the source stands beside each value."""

from decimal import Decimal

import pytest

from inventory.calc.weighing import (
    BalanceTraits,
    buoyancy_factor,
    maximum_permissible_error,
    net_mass_uncertainty,
    rectangular,
    root_sum_of_squares,
    smallest_net_weight,
)

USP_TOLERANCE = Decimal("0.001")
"""USP <41> (revision of 1 August 2019): 0.10 %."""


def balance(*, d="0.00001", s="0", l="0"):  # noqa: E741
    return BalanceTraits(Decimal(220), Decimal(d), Decimal(s), Decimal(l))


def test_the_printed_example_of_usp_41():
    """USP <41>, repeatability: s = 0.00015 g gives a smallest weight of 0.30000 g."""
    assert smallest_net_weight(balance(s="0.00015"), USP_TOLERANCE) == Decimal("0.30000")


@pytest.mark.parametrize(
    ("d", "smallest"), [("0.00001", "0.0082"), ("0.0001", "0.082"), ("0.001", "0.82"), ("0.01", "8.2")]
)
def test_a_spread_below_041_d_counts_as_041_d(d, smallest):
    """820 d: balance makers' summaries of the changes to USP <41>."""
    assert smallest_net_weight(balance(d=d), USP_TOLERANCE) == Decimal(smallest)


@pytest.mark.parametrize(
    ("accuracy_class", "half", "one", "one_and_a_half"),
    [
        ("I", 50_000, 200_000, 1_000_000),
        ("II", 5_000, 20_000, 100_000),
        ("III", 500, 2_000, 10_000),
        ("IIII", 50, 200, 1_000),
    ],
)
def test_the_permissible_errors_of_oiml_r_76_with_their_upper_bounds_inside(
    accuracy_class, half, one, one_and_a_half
):
    """OIML R 76-1, Table 6 (initial verification; loads in intervals e, upper bound included)."""
    e = Decimal("0.01")

    def errors(intervals):
        return (
            maximum_permissible_error(
                accuracy_class=accuracy_class, verification_interval=e, load=intervals * e
            )
            / e
        )

    assert errors(0) == errors(half) == Decimal("0.5")
    assert errors(half + 1) == errors(one) == 1
    assert errors(one + 1) == errors(one_and_a_half) == Decimal("1.5")


def test_in_service_twice_the_error_is_permitted():
    """OIML R 76-1, 3.5.2, as a verification service quotes it."""
    at = {"accuracy_class": "II", "verification_interval": Decimal("0.001"), "load": Decimal(10)}
    assert maximum_permissible_error(**at) == Decimal("0.001")
    assert maximum_permissible_error(**at, in_service=True) == Decimal("0.002")


def test_one_reading_of_a_display_is_known_to_029_of_its_step():
    """GUM F.2.2.1: 0.29 δx (value from memory); 0.28868 computed."""
    assert rectangular(Decimal("0.001") / 2) == pytest.approx(Decimal("0.00028868"), abs=Decimal("5e-9"))


def test_a_net_mass_of_two_readings_is_known_to_041_of_the_step():
    """d/√6 = 0.40825 d, computed; the trap is to take one reading's d/√12 for both."""
    assert net_mass_uncertainty(balance(d="0.001")) == pytest.approx(
        Decimal("0.00040825"), abs=Decimal("5e-9")
    )


def test_the_worked_weighing_of_the_university_of_tartu():
    """ut.ee, GUM_examples/weighing.smu: repeatability 0.00017 g, drift ± 0.0002 g, readability ± 0.00005 g."""
    u = root_sum_of_squares(
        [Decimal("0.00017"), rectangular(Decimal("0.0002")), rectangular(Decimal("0.00005"))]
    )
    assert u == pytest.approx(Decimal("0.000207525098883645"), abs=Decimal("1e-18"))


def test_the_volume_of_the_cadmium_standard_of_quam():
    """EURACHEM/CITAC QUAM, example A1: calibration ± 0.1 mL triangular, repeatability 0.02 mL, temperature
    ± 4 °C · 2.1e-4 /°C · 100 mL rectangular; u(V) = 0.0664730521840743 mL as printed on the worked page.
    """
    triangular = root_sum_of_squares([Decimal("0.1")], divide_by=6)
    warmth = rectangular(Decimal(100) * 4 * Decimal("0.00021"))
    u = root_sum_of_squares([triangular, Decimal("0.02"), warmth])
    assert u == pytest.approx(Decimal("0.0664730521840743"), abs=Decimal("1e-16"))


def test_a_naked_aluminium_weight_is_lifted_as_the_balance_manual_says():
    """Balance manual, page on air buoyancy: 2 g read of aluminium (2.7 g/mL) are 2000.589 mg."""
    true = Decimal(2000) * buoyancy_factor(Decimal("2.7"))
    assert true == pytest.approx(Decimal("2000.589"), abs=Decimal("0.0005"))


@pytest.mark.parametrize(
    ("density", "factor"),
    [
        (".7892", "1.0013726"),
        (".80", "1.0013520"),
        (".807419", "1.0013382"),
        ("1.0", "1.0010513"),
        ("1.1", "1.0009419"),
        ("8.0", "1"),
        ("22.5", ".9999033"),
    ],
)
def test_buoyancy_factors_from_spirit_to_platinum(density, factor):
    """Computed separately from the formula of NIST SOP 2 (formula from memory)."""
    assert buoyancy_factor(Decimal(density)) == pytest.approx(Decimal(factor), abs=Decimal("5e-8"))
