"""CSV sheets: what is read, what is refused and how it is named, and cells that are no formulas."""

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from studio.kernel.sheets import BadSheet, neutralised, place, read_rows, restored


def read(text, required=("name", "mass"), optional=("note",), **kwargs):
    return read_rows(text.encode(), required=required, optional=optional, **kwargs)


def fault(text, **kwargs):
    with pytest.raises(BadSheet) as caught:
        read(text, **kwargs)
    return caught.value


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_rows_come_with_their_lines_whatever_the_delimiter(delimiter):
    text = "name,mass\r\nlinalool,2.5\r\ncedrol,1\r\n".replace(",", delimiter)
    assert read(text) == [
        (2, {"name": "linalool", "mass": "2.5", "note": ""}),
        (3, {"name": "cedrol", "mass": "1", "note": ""}),
    ]


def test_a_byte_order_mark_the_order_and_the_case_of_columns_do_not_matter():
    assert read("\ufeffMass, Name \n1, cedrol ") == [(2, {"name": "cedrol", "mass": "1", "note": ""})]


def test_a_cell_over_several_lines_keeps_the_lines_of_the_next_rows_right():
    rows = read('name,mass,note\na,1,"two\nlines"\nb,2,\n')
    assert [line for line, _ in rows] == [2, 4]
    assert rows[0][1]["note"] == "two\nlines"


def test_lines_ended_by_carriage_return_alone_are_lines_too():
    assert [line for line, _ in read("name,mass\ra,1\rb,2")] == [2, 3]


def test_empty_lines_are_skipped_and_counted():
    assert [line for line, _ in read("name,mass\n\na,1\n,\nb,2\n")] == [3, 5]


def test_text_that_is_not_utf8_is_refused_with_its_line():
    with pytest.raises(BadSheet, match="on line 2, byte 13 fits no character"):
        read_rows("name,mass\na ö,1".encode("latin-1"), required=["name", "mass"])


def test_a_nul_is_refused_with_its_line():
    assert "line 2" in str(fault("name,mass\na\0,1"))


def test_every_fault_of_the_header_is_named():
    error = fault("name,weight,name,\n")
    assert error.errors == {
        "1.weight": ["There is no column “weight”; known are name, mass, note."],
        "1.name": ["The column “name” stands there twice."],
        "1.4": ["Column 4 has no name."],
        "1.mass": ["The column “mass” is missing."],
    }


def test_every_ragged_row_is_named_by_line_and_column():
    error = fault("name,mass\na\nb,1\nc,1,2\n")
    assert error.errors == {
        "2.mass": ["Line 2 ends before the column “mass”."],
        "4.3": ["Line 4 has a cell in column 3, which has no name."],
    }


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff"])
def test_an_empty_sheet_is_refused(text):
    assert "empty" in str(fault(text))


def test_a_quote_that_never_closes_is_refused():
    assert "Line 2" in str(fault('name,mass\n"a,1\n'))


def test_a_sheet_with_too_many_rows_is_refused():
    text = "name,mass\n" + "a,1\n" * 4
    assert len(read(text, most_rows=4)) == 4
    assert "more than 3 rows" in str(fault(text, most_rows=3))


def test_places_are_line_and_column():
    assert place(12, "mass") == "12.mass"


@pytest.mark.parametrize(
    "cell", ["=1+1", "+49 171", "-a", "@x", "\tx", "\rx", "＝1", "-", "--1", "+1", "'=1", "''-x"]
)
def test_what_a_spreadsheet_could_run_gets_an_apostrophe(cell):
    assert neutralised(cell) == f"'{cell}"


@pytest.mark.parametrize(
    "cell", ["-5", "-0.25", "2.5", "-3,5", "linalool", "", "'quoted'", "a=b", "26-0417-K"]
)
def test_plain_numbers_and_other_texts_stay_as_they_are(cell):
    assert neutralised(cell) == cell


@given(st.text(alphabet="'=+-@\t\r\nab1.,;\" ＝", max_size=12))
@example("''=")
def test_reading_takes_off_exactly_what_writing_put_on(text):
    assert restored(neutralised(text)) == text


@given(st.lists(st.text(alphabet="'=+-@ab1.,;\"\n ＝é", max_size=8).map(str.strip), min_size=1, max_size=4))
def test_no_written_cell_starts_a_formula_and_a_written_sheet_reads_back(cells):
    written = [neutralised(cell) for cell in cells]
    for cell in written:
        assert cell[:1] not in tuple("=+@＝")
        assert not cell.startswith("-") or float(cell.replace(",", ".")) <= 0
    sheet = io.StringIO()
    csv.writer(sheet).writerows([["name", "n"], *([cell, "1"] for cell in written)])
    rows = read_rows(sheet.getvalue().encode(), required=["name", "n"])
    assert [row["name"] for _, row in rows] == [cell.replace("\r\n", "\n") for cell in cells]
