"""Ethanol and water: ranges, the way back from % vol, and the digits."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.ethanol_water import (
    BeyondAlcoholTables,
    density_g_ml,
    density_kg_m3,
    mass_fraction,
    volume_fraction,
)

shares = st.decimals(0, 1, places=9)


@given(share=shares)
def test_strength_by_volume_and_back_is_the_same_strength(share):
    assert abs(volume_fraction(mass_fraction(share)) - share) <= Decimal("0.000002")
    if share <= Decimal("0.999998"):
        assert abs(volume_fraction(mass_fraction(share)) - share) <= Decimal("2e-9")


@given(fraction=shares)
def test_mass_fraction_and_back_is_the_same_fraction(fraction):
    assert abs(mass_fraction(volume_fraction(fraction)) - fraction) <= Decimal("2e-9")


@given(fraction=st.decimals(0, "0.999", places=3))
def test_strength_by_volume_rises_with_the_mass_fraction(fraction):
    assert volume_fraction(fraction) < volume_fraction(fraction + Decimal("0.001"))


def test_nothing_and_everything_are_their_own_strength():
    assert (mass_fraction(Decimal(0)), mass_fraction(Decimal(1))) == (0, 1)
    assert volume_fraction(Decimal(0)) == 0


def test_the_same_strength_gives_the_same_digits_whatever_the_callers_precision():
    from decimal import localcontext

    with localcontext() as rough:
        rough.prec = 12
        coarse = mass_fraction(Decimal("0.96"))
    assert str(coarse) == str(mass_fraction(Decimal("0.96")))


def test_grams_per_millilitre_are_a_thousandth():
    half = Decimal("0.5")
    assert density_g_ml(ethanol_fraction=half) * 1000 == density_kg_m3(ethanol_fraction=half)


@pytest.mark.parametrize("temperature", ["-20.01", "40.01", "NaN", "Infinity"])
def test_a_temperature_outside_the_tables_is_refused(temperature):
    with pytest.raises(BeyondAlcoholTables, match="-20 °C to 40 °C"):
        density_kg_m3(ethanol_fraction=Decimal("0.5"), temperature_c=Decimal(temperature))


@pytest.mark.parametrize("temperature", ["-20", "40"])
def test_the_ends_of_the_tables_are_inside(temperature):
    assert density_kg_m3(ethanol_fraction=Decimal("0.9"), temperature_c=Decimal(temperature)) > 700


@pytest.mark.parametrize("share", ["-0.1", "1.0000001", "NaN", "Infinity"])
def test_a_share_outside_0_to_1_is_refused_in_every_direction(share):
    for ask in (volume_fraction, mass_fraction, lambda one: density_kg_m3(ethanol_fraction=one)):
        with pytest.raises(BeyondAlcoholTables):
            ask(Decimal(share))


def test_a_percentage_given_as_a_fraction_is_guessed_at():
    with pytest.raises(BeyondAlcoholTables, match=r"Did you mean 0\.96"):
        mass_fraction(Decimal(96))
