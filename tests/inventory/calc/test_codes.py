"""CAS numbers and hazard statement codes as people type them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.codes import (
    DEFERRING_WORDS,
    STATEMENTS,
    STATEMENTS_SOURCE,
    CasCheckDigit,
    CasNumberShape,
    HazardCodeShape,
    base_code,
    hazard_statement,
    parse_cas,
    parse_hazard_code,
    parse_hazard_codes,
)


def check_digit(digits: str) -> int:
    return sum(place * int(digit) for place, digit in enumerate(reversed(digits), start=1)) % 10


@given(first=st.integers(10, 9_999_999), middle=st.integers(0, 99))
def test_a_number_with_its_check_digit_is_read_and_with_any_other_is_mistyped(first, middle):
    digits = f"{first}{middle:02d}"
    right = check_digit(digits)
    assert parse_cas(f"{first}-{middle:02d}-{right}") == f"{first}-{middle:02d}-{right}"
    for wrong in set(range(10)) - {right}:
        with pytest.raises(CasCheckDigit, match=f"would be {right}"):
            parse_cas(f"{first}-{middle:02d}-{wrong}")


@pytest.mark.parametrize("typed", ["64-17-5", " 64-17-5 ", "64175", "64 17 5", "64–17–5"])
def test_spaces_and_dashes_do_not_matter(typed):
    assert parse_cas(typed) == "64-17-5"


@pytest.mark.parametrize(
    "typed",
    ["", "ethanol", "64-17", "6-17-5", "12345678-12-1", "064-17-5", "64-1-75", "64-17-5x", "9" * 5000],
)
def test_a_text_that_is_no_cas_number_says_how_one_looks(typed):
    with pytest.raises(CasNumberShape, match="64-17-5"):
        parse_cas(typed)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("h225", "H225"),
        (" H 317 ", "H317"),
        ("euh208", "EUH208"),
        ("H361fd", "H361fd"),
        ("H360FD", "H360FD"),
        ("h350i", "H350i"),
        ("EUH209a", "EUH209A"),
    ],
)
def test_a_hazard_code_is_brought_to_its_written_form(typed, code):
    assert parse_hazard_code(typed) == code


@pytest.mark.parametrize(
    "typed", ["", "H", "H22", "H2255", "H125", "H500", "P210", "H225a", "H360x", "R10", "EUH66", "225"]
)
def test_a_text_that_is_no_hazard_code_is_refused(typed):
    with pytest.raises(HazardCodeShape):
        parse_hazard_code(typed)


def test_codes_in_a_row_are_read_once_each_in_order():
    assert parse_hazard_codes("H225, H319; h302+H312 H225") == ("H225", "H319", "H302", "H312")
    assert parse_hazard_codes("  ") == ()


def test_every_word_that_is_no_code_is_named():
    with pytest.raises(HazardCodeShape) as refusal:
        parse_hazard_codes("H225, P210, H999")
    assert len(refusal.value.errors["hazard_codes"]) == 2


def test_every_kept_code_is_well_formed_and_has_text_caution_and_source():
    for code in STATEMENTS:
        told = hazard_statement(parse_hazard_code(code))
        assert told.code == code
        assert told.text.endswith(".")
        assert told.caution.endswith(".")
        assert told.source == STATEMENTS_SOURCE


def test_a_lettered_code_has_its_own_text_or_that_of_its_base():
    assert hazard_statement("H360F").text == "May damage fertility."
    assert base_code("H361fd") == "H361"
    assert base_code("EUH209A") == "EUH209A"


def test_a_code_not_kept_here_sends_to_the_suppliers_paper():
    told = hazard_statement("H242")
    assert (told.text, told.source) == ("", "")
    assert "safety data sheet" in told.caution


def test_the_deferring_words_name_local_rules_and_an_assessor():
    assert "not a safety assessment" in DEFERRING_WORDS
    assert "qualified assessor" in DEFERRING_WORDS
