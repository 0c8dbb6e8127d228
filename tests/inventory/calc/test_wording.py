"""Figures inside sentences."""

from decimal import Decimal

import pytest

from inventory.calc.wording import figure, listed, percent, readable


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("0.250000", "0.25"),
        ("100", "100"),
        ("1E+2", "100"),
        ("0E-9", "0"),
        ("-0.00", "0"),
        ("-0.021", "-0.021"),
        ("1E-6", "0.000001"),
    ],
)
def test_a_figure_has_no_exponent_and_no_trailing_zeros(number, text):
    assert figure(Decimal(number)) == text


def test_a_readable_number_keeps_four_digits():
    assert readable(Decimal("0.000207525098883645")) == "0.0002075"
    assert readable(Decimal("123456")) == "123500"


def test_a_fraction_is_read_in_percent():
    assert percent(Decimal("0.025")) == "2.5 %"
    assert percent(Decimal("0.012345678"), 9) == "1.2345678 %"


@pytest.mark.parametrize(
    ("words", "text"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_words_are_listed_as_in_running_text(words, text):
    assert listed(words) == text
