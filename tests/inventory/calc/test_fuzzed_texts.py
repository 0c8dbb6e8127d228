"""Whatever comes in as text is taken in one sense or refused by a sentence: sheets, balance lines, scans, lot numbers.

Texts are drawn near to sound ones, some letters of which are changed, and wholly at random. With STILLROOM_LONG=1 there
are two thousand of each.
"""

from datetime import date
from decimal import Decimal
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.calc.codes import parse_cas, parse_hazard_codes
from inventory.calc.lot_codes import (
    LotCode,
    OtherStudiosLabel,
    digital_link,
    element_string,
    number_in,
    read_lot_code,
    studio_item,
)
from inventory.calc.readings import (
    UnclearWeight,
    UnfitReading,
    balance_reading,
    reading_to_keep,
    typed_weight,
)
from studio.kernel.errors import Invalid
from studio.kernel.mass import LARGEST_MASS, MICROGRAM
from studio.kernel.numbers import BadNumberText, compose, likely_meant, parse
from studio.kernel.sheets import BadSheet, read_rows
from tests.long import many

fuzzed = settings(
    max_examples=many(25, 2_000),
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
ODD = st.sampled_from(
    list("0179.,;:+-−±()[]{}<>/\\'\"=@%?#&|~_ABIOST gkmµμ№١२①𝟗\t\r\n\x00\x1d\x7f\u00a0\u202e\ufeff🏻")
)


@st.composite
def slipped(draw: Any, sound: Any) -> str:
    """A sound text with up to three letters put in, taken out or changed; now and then any text at all."""
    if draw(st.integers(0, 5)) == 0:
        return draw(st.text(max_size=90))
    letters = list(draw(sound))
    for _ in range(draw(st.integers(0, 3))):
        place = draw(st.integers(0, len(letters)))
        letters[place : place + draw(st.integers(0, 1))] = draw(st.lists(ODD, max_size=2))
    return "".join(letters)


def assert_sentence(refusal: Invalid) -> None:
    assert refusal.message.rstrip("”")[-1:] in ".?)", refusal.message
    assert len(refusal.message) > 12


def assert_told(sentences: list[str]) -> None:
    assert sentences
    assert all(sentences)


numbers = st.builds(compose, st.just("lot"), st.integers(2020, 2099), st.integers(1, 20_000))
lines = st.builds(
    "{}{:>10}{} {}".format,
    st.sampled_from(["S S ", "ST,NT,+", "N     + ", "", "SD ", "  -"]),
    st.decimals("0.0001", "999", places=4).map(str),
    st.sampled_from(["", " "]),
    st.sampled_from(["g", "mg", "kg", "ct", "", "g S"]),
)
codes = st.builds(
    LotCode, item=st.just(studio_item(3)), lot=numbers, expires_on=st.none() | st.dates(date(2026, 1, 1), date(2050, 1, 1))
)  # fmt: skip
scans = st.one_of(
    codes.map(element_string), codes.map(lambda code: digital_link("https://a.example", code)), numbers
)
cells = st.text(alphabet=ODD | st.characters(codec="utf-8"), max_size=8)
sheets = st.lists(st.lists(cells, min_size=2, max_size=3).map(",".join), max_size=6).map(
    lambda rows: "\n".join(["name,mass", *rows])
)


@fuzzed
@given(slipped(lines))
def test_a_line_of_a_balance_is_one_exact_weight_or_a_sentence(line: str) -> None:
    reading = balance_reading(line)
    try:
        grams = reading_to_keep(line)
    except UnfitReading as refusal:
        assert_sentence(refusal)
        return
    assert reading is not None
    assert grams == reading.grams
    assert 0 < grams <= LARGEST_MASS
    assert grams % MICROGRAM == 0
    assert reading.stable is not False


@fuzzed
@given(slipped(st.decimals("0.000001", "9999", places=6).map(str)))
def test_a_typed_weight_is_one_exact_weight_or_a_sentence(text: str) -> None:
    try:
        typed = typed_weight(text)
    except UnclearWeight as refusal:
        assert_sentence(refusal)
        return
    digits = [letter for letter in text if letter.isdigit()]
    assert all(letter in "0123456789" for letter in digits)
    assert 0 < typed.grams <= LARGEST_MASS
    assert Decimal(str(typed.grams)) == typed.grams


@fuzzed
@given(numbers, st.integers(0, 30), st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
def test_a_number_with_one_wrong_letter_is_no_other_number(number: str, place: int, letter: str) -> None:
    place %= len(number)
    if number[place] in ("-", letter):
        return
    slip = number[:place] + letter + number[place + 1 :]
    try:
        parse("lot", slip)
    except BadNumberText as refusal:
        assert_sentence(refusal)
        assert number in likely_meant("lot", slip)
        return
    raise AssertionError(f"{slip} was taken, though {number} was meant")


@fuzzed
@given(slipped(numbers))
def test_a_typed_number_is_taken_in_its_written_form_or_refused(text: str) -> None:
    try:
        number = parse("lot", text)
    except BadNumberText as refusal:
        assert_sentence(refusal)
        assert len(likely_meant("lot", text)) < 200
        return
    assert parse("lot", number) == number
    assert number.isascii()


@fuzzed
@given(slipped(scans))
def test_a_scan_names_one_lot_of_ours_or_is_refused(text: str) -> None:
    code = read_lot_code(text, today=date(2026, 3, 1))
    try:
        number = number_in(text, studio=3)
    except (BadNumberText, OtherStudiosLabel) as refusal:
        assert_sentence(refusal)
        return
    assert parse("lot", number) == number
    assert code is None or code.lot == number


@fuzzed
@given(st.one_of(slipped(sheets).map(str.encode), st.binary(max_size=60)))
def test_a_sheet_gives_whole_rows_on_rising_lines_or_is_refused(data: bytes) -> None:
    try:
        rows = read_rows(data, required=["name", "mass"])
    except BadSheet as refusal:
        assert_sentence(refusal)
        for told in refusal.errors.values():
            assert_told(told)
        return
    assert all(row.keys() == {"name", "mass"} for _, row in rows)
    starts = [line for line, _ in rows]
    assert starts == sorted(set(starts))


@fuzzed
@given(slipped(st.sampled_from(["106-24-1", "H317 H315", "H360FD, EUH066"])))
def test_codes_of_materials_come_in_their_written_form_or_are_refused(text: str) -> None:
    for read in (parse_cas, parse_hazard_codes):
        try:
            found = read(text)
        except Invalid as refusal:
            assert_sentence(refusal)
            continue
        again = read(found if isinstance(found, str) else " ".join(found))
        assert again == found
