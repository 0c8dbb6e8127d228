"""Label codes against published examples of GS1: check digits, Digital Link, centuries and days."""

from datetime import date

import pytest
from stdnum import ean

from inventory.calc.lot_codes import LotCode, day_of, digital_link, read_lot_code, studio_item
from studio.kernel.numbers import compose

LOT = compose("lot", 26, 417)
IN_2026 = date(2026, 3, 1)


@pytest.mark.parametrize(
    ("digits", "check"),
    [
        ("629104150021", "3"),  # ibm.com, sum 57
        ("890400021003", "7"),  # gs1india.org
        ("730001100001", "7"),  # gs1.se
        ("501234567890", "0"),  # gs1uk.org
        ("501234567421", "6"),  # gs1uk.org
    ],
)
def test_the_check_digit_is_that_of_published_numbers(digits, check):
    assert ean.calc_check_digit(digits) == check


def test_a_studios_item_is_of_restricted_circulation_within_a_company_and_proves_itself():
    # Prefixes 040 to 049: "restricted circulation numbers within a company", as lists of GS1 prefixes have it.
    item = studio_item(12)
    assert len(item) == 14
    assert item.startswith("004")
    assert ean.is_valid(item)
    assert studio_item(12) != studio_item(13)


def test_a_link_has_the_order_of_the_standard():
    # GS1 Digital Link standard, as quoted: https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426 has the item,
    # then the lot, as path, and the expiry as an attribute.
    link = digital_link("https://still.example/", LotCode("09520123456788", LOT, date(2027, 3, 1)))
    assert link == f"https://still.example/01/09520123456788/10/{LOT}?17=270301"


def test_the_standards_own_link_is_no_lot_of_ours_but_its_parts_are_read():
    assert read_lot_code("https://id.gs1.org/01/09520123456788/10/ABC1?17=180426", today=IN_2026) is None
    code = read_lot_code(f"https://id.gs1.org/01/09520123456788/10/{LOT}?17=180426", today=IN_2026)
    assert code == LotCode("09520123456788", LOT, date(2018, 4, 26))


@pytest.mark.parametrize(
    ("six", "day"),
    [
        ("200229", date(2020, 2, 29)),  # gs1-syntax-dictionary, lint_yymmd0.c
        ("990800", date(1999, 8, 31)),  # gs1.dk: day 00 is the end of the month
        ("770101", date(1977, 1, 1)),  # the rule of centuries, computed for 2026
        ("760101", date(2076, 1, 1)),
    ],
)
def test_days_are_read_as_the_standard_says(six, day):
    assert day_of(six, IN_2026) == day


@pytest.mark.parametrize("six", ["210229", "200431", "201310"])
def test_days_in_no_calendar_are_refused(six):
    # gs1-syntax-dictionary, lint_yymmd0.c
    with pytest.raises(ValueError, match=r"day|month"):
        day_of(six, IN_2026)


def test_pictograms_follow_the_regulation():
    from inventory.calc.pictograms import pictograms_of

    def symbols(*codes):
        return [one.code for one in pictograms_of(codes)]

    # CLP Annex V: ethanol, index 603-002-00-5, H225 bears GHS02 (ECHA).
    assert symbols("H225") == ["GHS02"]
    # Annex V: skin sensitisation GHS07, respiratory sensitisation GHS08.
    assert symbols("H317") == ["GHS07"]
    assert symbols("H334") == ["GHS08"]
    # H412 has no symbol (Annex I, table 4.1.4; value from memory).
    assert symbols("H412") == []
    # Article 26 (1) (b) to (d); from memory.
    assert symbols("H301", "H315") == ["GHS06"]
    assert symbols("H314", "H319") == ["GHS05"]
    assert symbols("H314", "H302") == ["GHS05", "GHS07"]
    assert symbols("H334", "H317") == ["GHS08"]
