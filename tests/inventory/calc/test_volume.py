"""Volumes from masses and whether they fit the vial."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.volume import (
    BadVolume,
    DensityUnknown,
    VolumePart,
    fill,
    mass_of_volume,
    volume_of_mass,
    volume_without_contraction,
)


def part(name, mass, density):
    return VolumePart(name, Decimal(mass), None if density is None else Decimal(density))


def test_volumes_of_parts_add_up_and_the_estimate_says_how():
    estimate = volume_without_contraction(
        [part("linalool", "0.86", "0.86"), part("ethanol", "7.8924", "0.78924")]
    )
    assert estimate.volume_ml == Decimal("11.000")
    assert estimate.density_g_ml == Decimal("0.795673")
    assert "without contraction" in estimate.sentence


@given(
    masses=st.lists(st.decimals("0.001", 100, places=6), min_size=1, max_size=6),
    density=st.decimals("0.7", "1.3", places=4),
)
def test_parts_of_one_density_take_the_volume_of_their_whole_mass(masses, density):
    parts = [VolumePart(str(place), mass, density) for place, mass in enumerate(masses)]
    assert volume_without_contraction(parts).volume_ml == volume_of_mass(sum(masses), density_g_ml=density)


@given(mass=st.decimals("0.001", 1000, places=3), density=st.decimals("0.6", 2, places=4))
def test_mass_to_volume_and_back_is_within_a_microlitre(mass, density):
    back = mass_of_volume(volume_of_mass(mass, density_g_ml=density), density_g_ml=density)
    assert abs(back - mass) <= Decimal("0.0005") * density + Decimal("0.000001")


def test_every_part_without_a_density_is_named():
    with pytest.raises(DensityUnknown, match="indole and vanillin"):
        volume_without_contraction(
            [part("indole", 1, None), part("ethanol", 1, "0.789"), part("vanillin", 1, None)]
        )


def test_a_part_of_no_mass_needs_no_density():
    assert volume_without_contraction([part("indole", 0, None), part("water", 1, 1)]).volume_ml == 1


@pytest.mark.parametrize("parts", [[], [part("water", 0, 1)]])
def test_nothing_has_no_volume(parts):
    with pytest.raises(BadVolume):
        volume_without_contraction(parts)


def test_all_impossible_figures_of_the_parts_are_told_at_once():
    with pytest.raises(BadVolume) as refusal:
        volume_without_contraction(
            [part("a", -1, 1), part("b", 1, 0), part("c", 1, "NaN"), part("d", "NaN", 1)]
        )
    assert len(refusal.value.errors) == 4


def test_a_density_in_the_wrong_unit_is_recognised():
    with pytest.raises(BadVolume, match="kg/m³"):
        volume_of_mass(Decimal(1), density_g_ml=Decimal(789))


@pytest.mark.parametrize(("mass", "density"), [("-1", "1"), ("NaN", "1"), ("1", "0"), ("1", "-0.8")])
def test_an_impossible_mass_or_density_is_refused(mass, density):
    with pytest.raises(BadVolume):
        volume_of_mass(Decimal(mass), density_g_ml=Decimal(density))


def test_ninety_percent_is_the_fullest_that_does_not_warn():
    assert not fill(volume_ml=Decimal("9.000"), nominal_ml=Decimal(10)).too_full
    fuller = fill(volume_ml=Decimal("9.001"), nominal_ml=Decimal(10))
    assert fuller.too_full
    assert fuller.fraction == Decimal("0.900100000")
    assert "at most 9 mL" in fuller.sentence


def test_more_than_the_vial_holds_is_said_plainly():
    assert "does not fit" in fill(volume_ml=Decimal(11), nominal_ml=Decimal(10)).sentence


@pytest.mark.parametrize(
    ("volume", "nominal"), [("-1", "10"), ("1", "0"), ("1", "-5"), ("NaN", "10"), ("1", "NaN")]
)
def test_an_impossible_filling_is_refused(volume, nominal):
    with pytest.raises(BadVolume):
        fill(volume_ml=Decimal(volume), nominal_ml=Decimal(nominal))
