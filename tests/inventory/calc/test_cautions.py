"""The hazard statements of a lot, from what is in it."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.cautions import cautions_of, flammable_category
from inventory.calc.codes import DEFERRING_WORDS
from inventory.calc.hazardous_parts import BadContents, HazardousPart, SpecificLimit


def part(material, percent, codes="", flash=None, **more):
    flash_point = None if flash is None else Decimal(flash)
    return HazardousPart(material, Decimal(percent) / 100, tuple(codes.split()), flash_point, **more)


def codes_of(*parts, **options):
    return [caution.code for caution in cautions_of(parts, **options).cautions]


def reasons_of(report, code):
    return next(caution.reasons for caution in report.cautions if caution.code == code)


def test_the_words_that_defer_to_an_assessor_are_always_there():
    assert cautions_of([part("water", 100)]).words == DEFERRING_WORDS


def test_a_statement_tells_its_part_its_share_its_limit_and_its_source():
    report = cautions_of([part("eugenol", "2.5", "H317"), part("ethanol", "97.5")])
    (reason,) = reasons_of(report, "H317")
    assert reason.materials == ("eugenol",)
    assert reason.source == "CLP Annex I, Table 3.4.5"
    assert "eugenol (H317) is 2.5 %" in reason.sentence
    assert "from 1 %" in reason.sentence


def test_what_is_below_its_cut_off_is_not_shown_but_not_hidden():
    report = cautions_of([part("eugenol", "5", "H319"), part("ethanol", "95")])
    assert report.cautions == ()
    assert [(each.material, each.code) for each in report.below_cut_off] == [("eugenol", "H319")]


def test_two_sensitisers_give_two_reasons_for_one_statement():
    report = cautions_of([part("eugenol", 2, "H317"), part("citral", 3, "H317")])
    assert [reason.materials for reason in reasons_of(report, "H317")] == [("eugenol",), ("citral",)]


def test_a_sensitiser_of_category_1a_counts_from_a_tenth_of_the_share():
    assert codes_of(part("a", "0.1", "H317", sensitiser_category="1A")) == ["H317"]
    assert codes_of(part("a", "0.1", "H317")) == ["EUH208"]


def test_a_limit_set_for_one_substance_goes_before_the_general_one():
    own = SpecificLimit("H317", Decimal("0.0001"), "CLP Annex VI")
    report = cautions_of([part("isoeugenol", "0.01", "H317", specific_limits=(own,))])
    assert reasons_of(report, "H317")[0].source == "CLP Annex VI"
    assert codes_of(part("isoeugenol", "0.001", "H317", specific_limits=(own,))) == ["EUH208"]
    assert codes_of(part("isoeugenol", "0.0009", "H317", specific_limits=(own,))) == []


def test_a_limit_set_for_one_substance_fills_its_part_of_a_sum():
    own = SpecificLimit("H319", Decimal("0.5"), "supplier")
    ethanol = part("ethanol", 30, "H319", specific_limits=(own,))
    assert codes_of(ethanol) == []
    assert codes_of(ethanol, part("benzyl alcohol", 4, "H319")) == ["H319"]
    assert codes_of(ethanol, part("benzyl alcohol", "3.9", "H319")) == []


def test_a_part_that_bears_two_codes_of_a_ladder_is_counted_once():
    assert codes_of(part("phenol", "2.9", "H314 H318")) == ["H315", "H319"]


def test_the_stronger_statement_of_a_ladder_stands_for_the_weaker():
    report = cautions_of([part("acid", 5, "H314"), part("citral", 12, "H315")])
    assert [caution.code for caution in report.cautions] == ["H314", "H318"]
    assert report.below_cut_off == ()


def test_an_m_factor_makes_a_part_count_for_more():
    assert codes_of(part("a", 5, "H400")) == []
    assert codes_of(part("a", "2.5", "H400", m_factor_acute=Decimal(10))) == ["H400"]
    assert codes_of(part("a", "0.25", "H410", m_factor_chronic=Decimal(100))) == ["H410"]


def test_harmful_parts_are_added_as_an_estimate_for_the_whole():
    report = cautions_of([part("a", 20, "H302"), part("b", 5, "H302")])
    (reason,) = reasons_of(report, "H302")
    assert "2000 mg/kg" in reason.sentence
    assert codes_of(part("a", "24.9", "H302")) == []


def test_an_aspiration_statement_says_that_thickness_is_not_known():
    report = cautions_of([part("limonene", 6, "H304"), part("pinene", 4, "H304")])
    assert "how thick this one is, is not known" in reasons_of(report, "H304")[0].sentence


def test_a_flammable_part_is_shown_with_its_category_and_no_flash_point_is_made_up():
    report = cautions_of([part("ethanol", 90, "H225", flash=12), part("linalool", 10, flash=77)])
    assert [caution.code for caution in report.cautions] == ["H225"]
    assert [(each.material, each.category) for each in report.flammable_parts] == [("ethanol", 2)]
    assert "none is computed" in report.flash_point_note


def test_flammable_parts_of_two_categories_give_both_statements():
    assert codes_of(part("ethanol", 50, "H225"), part("pinene", 50, flash="30.6")) == ["H225", "H226"]


def test_code_and_flash_point_that_disagree_show_the_more_flammable():
    assert codes_of(part("a", 50, "H226", flash=12)) == ["H225"]
    assert codes_of(part("a", 50, "H225", flash=40)) == ["H225"]


def test_without_flammable_parts_there_is_no_word_of_flash_points():
    assert cautions_of([part("water", 100)]).flash_point_note == ""


def test_a_code_without_a_published_share_is_shown_from_the_studios_own():
    assert codes_of(part("a", 1, "EUH066")) == ["EUH066"]
    assert codes_of(part("a", "0.99", "EUH066")) == []
    assert codes_of(part("a", "0.5", "EUH066"), shown_from=Decimal("0.005")) == ["EUH066"]


def test_a_code_this_service_has_no_text_for_is_shown_all_the_same():
    report = cautions_of([part("a", 50, "H242")])
    assert (report.cautions[0].code, report.cautions[0].text) == ("H242", "")


def test_a_strong_organ_toxicant_in_a_small_share_gives_the_weaker_statement():
    assert codes_of(part("a", 10, "H372")) == ["H372"]
    assert codes_of(part("a", 9, "H372")) == ["H373"]


def test_a_lettered_code_keeps_its_letters():
    assert codes_of(part("a", "0.3", "H360FD")) == ["H360FD"]


def test_statements_stand_in_the_order_of_their_codes_and_supplements_last():
    found = codes_of(part("a", 30, "EUH066 H411 H317 H225 H302"))
    assert found == ["H225", "H302", "H317", "H411", "EUH066"]


@given(
    shares=st.lists(st.integers(0, 200), min_size=1, max_size=5),
    codes=st.lists(st.sampled_from(["H315", "H314", ""]), min_size=5, max_size=5),
)
def test_skin_statements_follow_the_table_for_every_mixture(shares, codes):
    """Against the table written out a second time, in thousandths, over every mixture up to the whole."""
    parts = [
        part(str(place), Decimal(share) / 10, code)
        for place, (share, code) in enumerate(zip(shares, codes, strict=False))
    ]
    relevant = [(share, code) for share, code in zip(shares, codes, strict=False) if share >= 10]
    corrosive = sum(share for share, code in relevant if code == "H314")
    irritant = sum(share for share, code in relevant if code == "H315")
    expected = {"H314"} if corrosive >= 50 else {"H315"} if 10 * corrosive + irritant >= 100 else set()
    assert set(codes_of(*parts)) & {"H314", "H315"} == expected


@given(
    split=st.lists(st.integers(1, 30), min_size=1, max_size=8),
    code=st.sampled_from(["H302", "H319", "H315", "H304", "H336", "H411"]),
)
def test_cutting_a_part_into_relevant_pieces_changes_no_summed_statement(split, code):
    whole = sum(split)
    if whole > 100:
        return
    pieces = [part(str(place), share, code) for place, share in enumerate(split)]
    assert codes_of(*pieces) == codes_of(part("whole", whole, code))


@given(share=st.integers(1, 1000), code=st.sampled_from(["H317", "H351", "H360", "H373", "H319", "H410"]))
def test_more_of_a_part_never_loses_a_statement_or_weakens_its_reason(share, code):
    rank = {
        "H413": 0,
        "H412": 1,
        "H411": 2,
        "H410": 3,
        "EUH208": 0,
        "H317": 1,
        "H373": 1,
        "H351": 1,
        "H360": 1,
        "H319": 1,
    }
    less = codes_of(part("a", Decimal(share - 1) / 10, code))
    more = codes_of(part("a", Decimal(share) / 10, code))
    assert max((rank[each] for each in more), default=-1) >= max((rank[each] for each in less), default=-1)


@pytest.mark.parametrize(
    ("parts", "field"),
    [
        ([], "parts"),
        ([part("a", 60), part("b", 50)], "parts"),
        ([part("a", 10), part("a", 10)], "parts.1.material"),
        ([part("a", -1)], "parts.0.fraction"),
        ([part("a", 101)], "parts.0.fraction"),
        ([part("a", "NaN")], "parts.0.fraction"),
        ([part("a", 1, "h225")], "parts.0.hazard_codes"),
        ([part("a", 1, "P210")], "parts.0.hazard_codes"),
        ([part("a", 1, flash="NaN")], "parts.0.flash_point_c"),
        ([part("a", 1, m_factor_acute=Decimal(0))], "parts.0.m_factor"),
        (
            [part("a", 1, specific_limits=(SpecificLimit("H317", Decimal(2), "x"),))],
            "parts.0.specific_limits",
        ),
    ],
)
def test_contents_that_cannot_be_are_refused_by_field(parts, field):
    with pytest.raises(BadContents) as refusal:
        cautions_of(parts)
    assert field in refusal.value.errors


@pytest.mark.parametrize("share", ["0", "-1", "1.1", "NaN"])
def test_a_share_to_show_from_outside_0_to_1_is_refused(share):
    with pytest.raises(BadContents):
        cautions_of([part("a", 1)], shown_from=Decimal(share))


def test_shares_rounded_a_hair_above_the_whole_are_accepted():
    assert cautions_of([HazardousPart("a", Decimal("0.5")), HazardousPart("b", Decimal("0.500000001"))]).words


def test_a_boiling_point_decides_between_the_two_strongest_categories():
    assert flammable_category(Decimal(-20), Decimal(35)) == 1
    assert flammable_category(Decimal(-20), Decimal("35.1")) == 2
    assert flammable_category(Decimal(-20)) == 2


def test_a_mixture_standing_exactly_on_a_limit_that_no_decimal_can_hold_is_judged_right():
    """55 % of a part harmful by skin: 0.55 · 2000/1100 is exactly 1, and 2000/1100 has no end as a decimal."""
    assert Fraction(55, 100) * Fraction(2000, 1100) == 1
    assert codes_of(part("a", 55, "H312")) == ["H312"]
    assert codes_of(part("a", "54.9999", "H312")) == []
