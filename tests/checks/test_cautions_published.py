"""Hazard statements of mixtures against the tables of Regulation (EC) No 1272/2008 (CLP), Annex I.

CLP limits are inclusive (≥), unlike those of declarable allergens (>).
"""

from decimal import Decimal

import pytest

from inventory.calc.cautions import cautions_of, flammable_category
from inventory.calc.hazardous_parts import HazardousPart, SpecificLimit


def part(material, percent, codes, **more):
    return HazardousPart(material, Decimal(percent) / 100, tuple(codes.split()), **more)


def codes_of(*parts):
    return [caution.code for caution in cautions_of(parts).cautions]


@pytest.mark.parametrize(
    ("category", "limit", "elicits"), [("1", "1", "0.1"), ("1A", "0.1", "0.01"), ("1B", "1", "0.1")]
)
@pytest.mark.parametrize("code", ["H317", "H334"])
def test_sensitisers_count_from_the_limits_of_tables_345_and_346(code, category, limit, elicits):
    """Table 3.4.5 as quoted publicly; the cells of 3.4.6 from memory, their numbers as in Annex II, 2.10."""

    def at(percent):
        return codes_of(part("a", percent, code, sensitiser_category=category))

    hair = Decimal("0.0000001")
    assert at(limit) == [code]
    assert at(Decimal(limit) - hair) == ["EUH208"]
    assert at(elicits) == ["EUH208"]
    assert at(Decimal(elicits) - hair) == []


def test_two_sensitisers_below_the_limit_do_not_add_up():
    """Table 3.4.5: no additivity; 0.9 % and 0.9 % do not make 1.8 %."""
    assert codes_of(part("a", "0.9", "H317"), part("b", "0.9", "H317")) == ["EUH208"]


def test_a_tenth_of_a_specific_limit_elicits():
    """Annex II, 2.10: one tenth of the specific concentration limit."""
    own = SpecificLimit("H317", Decimal("0.0001"), "specific")
    assert codes_of(part("a", "0.001", "H317", specific_limits=(own,))) == ["EUH208"]


@pytest.mark.parametrize(
    ("corrosive", "irritant", "expected"),
    [
        ("5", "0", "H314"),
        ("4.9999", "0", "H315"),
        ("1", "0", "H315"),
        ("0.9999", "0", None),
        ("0", "10", "H315"),
        ("0", "9.9999", None),
        ("0.5", "9.5", None),  # below 1 % the corrosive part is not relevant
        ("1", "1", "H315"),
    ],
)
def test_skin_irritation_follows_table_323(corrosive, irritant, expected):
    """Table 3.2.3, as in ECHA helpdesk slides and public copies of 3.2.3.3.1."""
    parts = [part("a", corrosive, "H314"), part("b", irritant, "H315")]
    assert set(codes_of(*parts)) & {"H314", "H315"} == ({expected} if expected else set())


def test_an_irritant_of_08_percent_is_below_the_cut_off_and_one_of_18_percent_counts():
    """ECHA helpdesk slides: 0.8 % of a skin irritant is left out of the sum, 1.8 % is in it."""
    assert codes_of(part("a", "0.8", "H315"), part("b", "9.2", "H315")) == []
    assert codes_of(part("a", "1.8", "H315"), part("b", "8.2", "H315")) == ["H315"]


@pytest.mark.parametrize(
    ("damaging", "irritant", "expected"),
    [
        ("3", "0", "H318"),
        ("2.9999", "0", "H319"),
        ("1", "0", "H319"),
        ("0", "10", "H319"),
        ("0", "9.99", None),
    ],
)
def test_eye_effects_follow_table_333(damaging, irritant, expected):
    """Table 3.3.3: 3 % as published by gesi.de, the other rows from memory."""
    assert codes_of(part("a", damaging, "H318"), part("b", irritant, "H319")) == (
        [expected] if expected else []
    )


@pytest.mark.parametrize(
    ("name", "flash", "boiling", "category"),
    [
        ("ethanol", "12.0", "78.4", 2),
        ("alpha-pinene", "30.6", None, 3),
        ("d-limonene", "47.9", None, 3),
        ("benzaldehyde", "64.0", None, None),
        ("at 23 °C", "23", "30", 3),
        ("at 60 °C", "60", None, 3),
        ("just above 60 °C", "60.1", None, None),
        ("low boiling", "22.9", "35", 1),
        ("just above 35 °C", "22.9", "35.1", 2),
    ],
)
def test_flammable_liquids_fall_into_the_categories_of_table_261(name, flash, boiling, category):
    """Table 2.6.1 (consolidated text of 1 September 2025); flash points from the library chemicals 1.5.2."""
    assert flammable_category(Decimal(flash), None if boiling is None else Decimal(boiling)) == category


def test_ethanol_is_highly_flammable_and_irritates_eyes_from_half_on():
    """Annex VI, 603-002-00-5: H225. H319 from the registration; specific limit 50 % from memory."""
    own = SpecificLimit("H319", Decimal("0.5"), "registration")
    assert codes_of(part("ethanol", 50, "H225 H319", specific_limits=(own,))) == ["H225", "H319"]
    assert codes_of(part("ethanol", "49.9", "H225 H319", specific_limits=(own,))) == ["H225"]


@pytest.mark.parametrize(
    ("code", "limit"),
    [
        ("H340", "0.1"),
        ("H341", "1"),
        ("H350", "0.1"),
        ("H351", "1"),
        ("H360", "0.3"),
        ("H361", "3"),
        ("H362", "0.3"),
    ],
)
def test_long_term_effects_count_part_by_part(code, limit):
    """Tables 3.5.2 and 3.7.2 as published; Table 3.6.2 from memory."""
    assert codes_of(part("a", limit, code)) == [code]
    assert codes_of(*(part(name, Decimal(limit) - Decimal("0.00001"), code) for name in "ab")) == []


@pytest.mark.parametrize(("code", "weaker"), [("H370", "H371"), ("H372", "H373")])
def test_organ_effects_weaken_from_10_to_1_percent(code, weaker):
    """Tables 3.8.3 and 3.9.4, from memory."""
    assert codes_of(part("a", 10, code)) == [code]
    assert codes_of(part("a", "9.99", code)) == [weaker]
    assert codes_of(part("a", "0.99", code)) == []


@pytest.mark.parametrize(("code", "limit"), [("H304", 10), ("H335", 20), ("H336", 20)])
def test_aspiration_and_narcosis_are_added_up(code, limit):
    """3.10.3.3.1 as published (10 % in total); 3.8.3.4.5 from memory (20 %)."""
    assert codes_of(part("a", limit - 3, code), part("b", 3, code)) == [code]
    assert codes_of(part("a", limit - 3, code), part("b", "2.99", code)) == []


@pytest.mark.parametrize(
    ("code", "percent"),
    [("H302", "25"), ("H301", "33.3334"), ("H312", "55"), ("H311", "30"), ("H332", "55"), ("H331", "30")],
)
def test_acute_toxicity_is_estimated_for_the_whole(code, percent):
    """3.1.3.6.1 with point estimates 500/100, 1100/300 and 11/3 and bounds 2000/300, 2000/1000 and 20/10:
    Table 3.1.2, as printed in the Canadian Hazardous Products Regulations, 8.1.7, and Table 3.1.1.
    """
    assert codes_of(part("a", percent, code)) == [code]
    assert code not in codes_of(part("a", Decimal(percent) - Decimal("0.001"), code))


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([("a", "25", "H410")], "H410"),
        ([("a", "24.9", "H410")], "H411"),
        ([("a", "2.5", "H410")], "H411"),
        ([("a", "2", "H410"), ("b", "5", "H411")], "H411"),
        ([("a", "2.4", "H410")], "H412"),
        ([("a", "0.25", "H410")], "H412"),
        ([("a", "0.24", "H410")], None),
        ([("a", "2.5", "H411")], "H412"),
        ([("a", "25", "H412")], "H412"),
        ([("a", "24", "H412")], None),
        ([("a", "24", "H412"), ("b", "1", "H413")], "H413"),
        ([("a", "0.09", "H410"), ("b", "0.09", "H410"), ("c", "0.09", "H410")], None),
    ],
)
def test_aquatic_chronic_toxicity_follows_the_summation(parts, expected):
    """Table 4.1.2 from memory; which parts are relevant (0.1 %, 1 %) from 4.1.3.1 as published."""
    assert codes_of(*(part(*one) for one in parts)) == ([expected] if expected else [])


def test_aquatic_acute_toxicity_is_summed_with_the_m_factor():
    """Table 4.1.1 from memory: 25 %, each share times its M-factor."""
    assert codes_of(part("a", 20, "H400"), part("b", "0.5", "H400", m_factor_acute=Decimal(10))) == ["H400"]
    assert codes_of(part("a", 20, "H400"), part("b", "0.49", "H400", m_factor_acute=Decimal(10))) == []
