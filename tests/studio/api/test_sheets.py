"""Lists as CSV."""

import csv
import io

import pytest

from studio.actions.history import record
from studio.api.sheets import cell
from studio.kernel.sheets import read_rows
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
COLUMNS = ["id", "at", "by", "subject", "name", "verb", "changes", "why"]


def sheet(answer):
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    text = answer.getvalue().decode("utf-8-sig")
    assert "\n" not in text.replace("\r\n", "")
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.fixture
def entries(owner):
    for n in range(5):
        record(by=owner, at=NOW, subject="x", name=f"n{n}", verb="v", changes={"a": [None, n]}, why="=1+1")


def test_a_list_is_given_as_csv_by_accept_or_by_format(api, entries):
    for answer in (api.get("history/", accept="text/csv"), api.get("history/?format=csv")):
        assert sheet(answer)[0] == COLUMNS


def test_the_sheet_holds_every_filtered_row_in_order_without_pages(api, entries):
    rows = sheet(api.get("history/?format=csv&subject=x&ordering=id"))
    assert [row[4] for row in rows[1:]] == [f"n{n}" for n in range(5)]


def test_cells_are_those_of_the_json_answer(api, entries):
    row = dict(zip(COLUMNS, sheet(api.get("history/?format=csv&subject=x&ordering=id"))[1], strict=True))
    item = api.get("history/?subject=x&ordering=id").json()["items"][0]
    for name in ("id", "at", "by", "name", "verb"):
        assert row[name] == item[name]
    assert row["changes"] == '{"a":[null,0]}'


def test_no_cell_is_a_formula_and_reading_the_sheet_gives_the_text_back(api, entries):
    answer = api.get("history/?format=csv&subject=x").getvalue()
    assert b"'=1+1" in answer
    assert b",=1+1" not in answer
    assert {row["why"] for _, row in read_rows(answer, required=COLUMNS)} == {"=1+1"}


def test_a_sheet_is_offered_as_a_file_named_after_its_list(api, entries):
    assert api.get("history/?format=csv")["Content-Disposition"] == 'attachment; filename="history.csv"'


def test_a_sheet_has_no_pages_so_it_takes_no_limit(api, entries):
    assert api.get("history/?format=csv&limit=2").status_code == 400


def test_a_refusal_is_a_problem_even_when_a_sheet_was_asked_for(api, entries):
    answer = api.get("history/?bogus=1", accept="text/csv")
    assert answer["Content-Type"] == "application/problem+json"


def test_a_sheet_needs_a_key_too(entries):
    from tests.client import Api

    assert Api(None).get("history/?format=csv").status_code == 401


def test_single_things_are_not_given_as_csv(api):
    assert api.get("studio/?format=csv").status_code == 406


def test_a_sheet_costs_one_statement_for_its_rows(api, entries, django_assert_num_queries):
    api.get("studio/")
    with django_assert_num_queries(2):
        api.get("history/?format=csv").getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (True, "true"),
        (False, "false"),
        (5, "5"),
        ("-1.5", "-1.5"),
        ("@a", "'@a"),
        ({"a": [1]}, '{"a":[1]}'),
    ],
)
def test_values_as_cells(value, text):
    assert cell(value) == text
