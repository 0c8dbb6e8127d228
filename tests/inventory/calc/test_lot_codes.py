"""What a label's code says comes back as it was written, however a scanner hands it on, and nothing else does."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calc.lot_codes import (
    SEPARATOR,
    LotCode,
    OtherStudiosLabel,
    digital_link,
    element_string,
    number_in,
    read_lot_code,
    studio_item,
)
from studio.kernel.numbers import BadNumberText, compose

TODAY = date(2026, 3, 1)
LOT = compose("lot", 26, 417)
codes = st.builds(
    LotCode,
    item=st.integers(1, 10**9).map(studio_item),
    lot=st.builds(compose, st.just("lot"), st.integers(0, 99), st.integers(1, 10**8)),
    expires_on=st.none() | st.dates(date(1980, 1, 1), date(2070, 12, 31)),
)


@settings(deadline=None)
@given(codes)
def test_a_link_and_an_element_string_come_back_as_they_were(code):
    assert read_lot_code(digital_link("https://still.example", code), today=TODAY) == code
    assert read_lot_code(element_string(code), today=TODAY) == code


@settings(deadline=None)
@given(codes, st.booleans(), st.sampled_from(["", "]Q3", "]C1", "]d2"]))
def test_scanners_send_elements_with_or_without_a_name_in_either_order(code, lot_first, prefix):
    expiry = f"17{code.expires_on:%y%m%d}" if code.expires_on else ""
    parts = (
        f"01{code.item}10{code.lot}{SEPARATOR}{expiry}" if lot_first else f"01{code.item}{expiry}10{code.lot}"
    )
    assert read_lot_code(prefix + parts, today=TODAY) == code


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_other_text_is_no_code_and_breaks_nothing(text):
    assert read_lot_code(text, today=TODAY) is None
    assert read_lot_code(f"https://x/01/{text}", today=TODAY) is None


def test_a_code_with_a_wrong_digit_is_none():
    item = studio_item(5)
    wrong = item[:-1] + str((int(item[-1]) + 1) % 10)
    assert read_lot_code(f"(01){wrong}(10){LOT}") is None
    assert read_lot_code(f"(01){item}(10){LOT[:-1]}!") is None
    assert read_lot_code(f"(10){LOT}") is None


@pytest.mark.parametrize("told", [LOT, LOT.lower().replace("-", ""), f"https://x/lots/{LOT}/"])
def test_a_number_may_be_typed_or_be_the_address_of_the_lots_page(told):
    assert number_in(told, studio=5) == LOT


def test_the_label_of_another_studio_is_known_for_what_it_is():
    code = LotCode(studio_item(6), LOT)
    assert number_in(digital_link("https://x", code), studio=6) == LOT
    for told in (digital_link("https://x", code), element_string(code)):
        with pytest.raises(OtherStudiosLabel, match="another studio"):
            number_in(told, studio=5)


def test_what_is_no_number_is_refused():
    with pytest.raises(BadNumberText):
        number_in("linalool", studio=5)
