"""Typed weights and lines from a balance: what is clear is taken exactly, what could be two things is refused."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.readings import (
    UnclearWeight,
    UnfitReading,
    balance_reading,
    reading_to_keep,
    typed_weight,
    why_not_kept,
)

CLEAR = {
    "2.5": "2.5",
    "2,5": "2.5",
    " 2.5 ": "2.5",
    "2.5g": "2.5",
    "2.5 g": "2.5",
    "2.5\u202fg": "2.5",
    "2,5 g": "2.5",
    "+2.5": "2.5",
    "2500 mg": "2.5",
    "2500mg": "2.5",
    "2500 µg": "0.0025",
    "2500 ug": "0.0025",
    "0.0025 kg": "2.5",
    "2.500": "2.5",
    "0,500": "0.5",
    ",5": "0.5",
    ".5": "0.5",
    "12,3456": "12.3456",
    "1234,567": "1234.567",
    "1.234,5": "1234.5",
    "1,234.5": "1234.5",
    "1,234,567 mg": "1234.567",
    "0.000001": "0.000001",
    "2500": "2500",
    "2,500.0 mg": "2.5",
}
UNCLEAR = {
    "": "Type the weight",
    "2,500": "may be 2.500 or 2500",
    "12,500 g": "may be 12.500 or 12500",
    "025": "begins with a 0",
    "00.25": "begins with a 0",
    "2.": "digits after it are missing",
    "2,": "digits after it are missing",
    ".": "no number",
    "2..5": "do not fit",
    "2.5.1": "do not fit",
    "1,23,4": "do not fit",
    "1,234.567,8": "do not fit",
    "2 500": "not one number",
    "2.5 2.5": "not one number",
    "2'500": "not one number",
    "2e3": "not one number",
    "2e": "no unit of mass",
    "1/2": "not one number",
    "2.O": "no unit of mass",
    "2.5 ml": "no unit of mass",
    "2.5 oz": "no unit of mass",
    "2.5 %": "not one number",
    "2.5 Mg": "milligrams or a thousand kilograms",
    "2.5 MG": "milligrams or a thousand kilograms",
    "2.5 gr": "no unit of mass",
    "-2.5": "below zero",
    "−2.5 g": "below zero",
    "0": "zero",
    "0.000 g": "zero",
    "0.0000001": "finer than a microgram",
    "0.1 µg": "finer than a microgram",
    "1000001": "more than a tonne",
    "26-0417-K": "not one number",
    "２.5": "not one number",
    "1" * 41: "not one number",
    "1.0000000000000000000000000000001": "finer than a microgram",
}
KEPT = {
    "2.500 g": "2.5",
    "+   2.500 g": "2.5",
    "S +2.500 g": "2.5",
    "ST,+0002.500 g": "2.5",
    "N + 2.500 g S": "2.5",
    "2,500 g": "2.5",
    "2500.0 mg": "2.5",
    "\t 12.3456 g\r\n": "12.3456",
    "net: 2.5 g": "2.5",
}
SHOWN_ONLY = {
    "SD +2.500 g": "still moving",
    "2.500 g ?": "still moving",
    "US 2.5 g": "still moving",
    "-2.500 g": "below zero",
    "- 0.003 g": "below zero",
    "0.000 g": "zero",
    "2.500": "no unit",
    "2.500 ct": "weighs in “ct”",
    "14.1 oz": "weighs in “oz”",
    "2.500 Mg": "weighs in “Mg”",
    "G 2.500 g": "“G”, which is not understood",
    "ERR 2.500 g": "not understood",
    "0.0001 mg": "finer than a microgram",
    "1001 kg": "more than a tonne",
}
NO_NUMBER = [
    "",
    "OL",
    "12.03.2026 14:05",
    "2 500.0 g",
    "ID 7 2.5 g",
    "1.234.5 g",
    "W1 g",
    ",5 g",
    ".5 g",
    "2.5e3 g",
]


@pytest.mark.parametrize(("text", "grams"), CLEAR.items())
def test_a_clear_weight_is_taken_exactly(text, grams):
    assert typed_weight(text).grams == Decimal(grams)


@pytest.mark.parametrize(("text", "words"), UNCLEAR.items())
def test_an_unclear_weight_is_refused_in_words(text, words):
    with pytest.raises(UnclearWeight, match=words.replace(".", r"\.")):
        typed_weight(text)


@pytest.mark.parametrize(("line", "grams"), KEPT.items())
def test_a_line_with_one_number_and_a_unit_is_kept(line, grams):
    assert reading_to_keep(line) == Decimal(grams)


@pytest.mark.parametrize(("line", "words"), SHOWN_ONLY.items())
def test_a_reading_that_is_not_to_be_kept_is_still_read(line, words):
    reading = balance_reading(line)
    assert reading is not None
    assert words in why_not_kept(reading)
    with pytest.raises(UnfitReading):
        reading_to_keep(line)


@pytest.mark.parametrize("line", NO_NUMBER)
def test_a_line_without_exactly_one_number_is_no_reading(line):
    assert balance_reading(line) is None
    with pytest.raises(UnfitReading):
        reading_to_keep(line)


def test_a_reading_says_whether_it_is_stable_and_may_say_nothing_of_it():
    assert balance_reading("S 1.0 g").stable is True
    assert balance_reading("? 1.0 g").stable is False
    assert balance_reading("1.0 g").stable is None


@given(st.integers(1, 10**12))
def test_every_mass_typed_in_any_unit_is_itself_again(micrograms):
    grams = Decimal(micrograms).scaleb(-6)
    for text in (
        f"{grams}",
        f"{grams} g",
        f"{micrograms} µg",
        f"{grams.scaleb(3):f} mg",
        f"{grams.scaleb(-3):f} kg",
    ):
        assert typed_weight(text).grams == grams


@given(st.integers(0, 999_999), st.integers(1, 999_999), st.sampled_from([",", "."]), st.integers(1, 6))
def test_a_decimal_mark_never_shifts_a_number(whole, decimals, mark, places):
    typed = f"{whole}{mark}{str(decimals).zfill(places)}"
    meant = Decimal(f"{whole}.{str(decimals).zfill(places)}")
    try:
        assert typed_weight(typed).grams == meant
    except UnclearWeight:
        assert meant > 1_000_000 or (mark == "," and len(str(decimals).zfill(places)) == 3)


@given(st.text(alphabet="0123456789.,+-−gmkµu ESTN'", max_size=14))
def test_any_text_is_taken_or_refused_and_never_anything_else(text):
    for read in (typed_weight, reading_to_keep):
        try:
            found = read(text)
        except (UnclearWeight, UnfitReading):
            continue
        assert getattr(found, "grams", found) > 0
