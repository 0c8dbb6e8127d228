"""Which typed weights are asked for twice, and what kind of slip is named."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.calc.typed_slips import LineBand, question_about, unit_wanted


def band(target="2.5", before="0", tolerance="0.02"):
    aim = Decimal(target)
    width = aim * Decimal(tolerance)
    return LineBand(aim, aim - width, aim + width, Decimal(before))


@pytest.mark.parametrize("mass", ["2.45", "2.5", "2.55"])
def test_a_weight_within_the_band_is_not_asked_for_twice(mass):
    assert question_about(band(), Decimal(mass)) == ""


@pytest.mark.parametrize(
    ("mass", "words"),
    [
        ("25", "ten times the 2.5 g"),
        ("0.25", "a tenth of the 2.5 g"),
        ("250", "a hundred times"),
        ("0.025", "a hundredth of"),
        ("2500", "a thousand times"),
        ("0.0025", "a thousandth of"),
    ],
)
def test_a_shifted_point_is_named(mass, words):
    assert words in question_about(band(), Decimal(mass))


def test_a_partial_pour_is_asked_for_twice_with_what_is_still_to_pour():
    question = question_about(band(), Decimal("1.5"))
    assert "1 g would still be to pour" in question
    assert "point" not in question


def test_what_the_line_holds_already_counts():
    assert question_about(band(before="1.5"), Decimal("1")) == ""
    assert "It would hold 4 g" in question_about(band(before="1.5"), Decimal("2.5"))


def test_a_bare_number_a_thousand_times_too_large_must_say_its_unit():
    assert "Write 2500 mg, or 2500 g" in unit_wanted(band(), Decimal("2500"), "")
    assert unit_wanted(band(), Decimal("2500"), "g") == ""
    assert unit_wanted(band(), Decimal("25"), "") == ""


@given(st.integers(1, 10**8), st.integers(0, 10**8), st.sampled_from([10, 100, 1000]), st.booleans())
def test_no_shift_of_the_point_goes_unasked(target, poured, factor, up):
    aim = Decimal(target).scaleb(-4)
    before = Decimal(poured).scaleb(-4)
    line = LineBand(aim, aim * Decimal("0.95"), aim * Decimal("1.05"), before)
    meant = line.open_mass
    if before + meant > line.largest:
        return
    slipped = meant * factor if up else meant / factor
    assert question_about(line, slipped) or line.smallest <= before + slipped <= line.largest
