"""CSV sheets in: whatever is wrong with one is told by line and column, and either all of it is written or nothing."""

from dataclasses import dataclass
from typing import Any

import pytest

from tests.api.fingerprint import changed, fingerprint
from tests.api.world import World


@dataclass(frozen=True)
class Sheet:
    """An import: its address, a header, a sound row for each of several rows, and a column of text."""

    path: str
    header: str
    rows: tuple[str, ...]
    required: str
    text: str

    def __str__(self) -> str:
        return self.path

    def lines(self, *rows: str, header: str = "") -> bytes:
        return "\n".join([header or self.header, *(rows or self.rows)]).encode()


SHEETS = (
    Sheet("materials/import/", "name,kind,note", ("citral,odorant,a", "geraniol,odorant,b"), "name", "note"),
    Sheet("bottles/import/", "material,mass,note", ("linalool,10,a", "vanillin,5.5,b"), "mass", "note"),
    Sheet(
        "formulas/import/",
        "formula,material,parts,name",
        ("one,linalool,3,First", "one,ethanol,7,First", "two,linalool,1,Second"),
        "parts",
        "name",
    ),
)
every_sheet = pytest.mark.parametrize("sheet", SHEETS, ids=str)


def sent(api: Any, sheet: Sheet, data: bytes, query: str = "") -> Any:
    return api.call("POST", sheet.path + query, data, content_type="text/csv")


def refused(api: Any, sheet: Sheet, data: bytes) -> Any:
    """The problem that a sheet is refused with, after it was seen that nothing of it was written."""
    before = fingerprint()
    answer = sent(api, sheet, data)
    assert answer.status_code == 400, answer.content
    assert changed(before) == []
    return answer.json()


@every_sheet
def test_a_sound_sheet_is_written_and_told_line_by_line(sheet: Sheet, world: World, client_of: Any) -> None:
    answer = sent(client_of(world.owner), sheet, sheet.lines())
    assert answer.status_code == 201
    told = answer.json()
    assert told["rows"] == len(sheet.rows)
    assert told["dry_run"] is False
    assert [row["line"] for row in told["written"]] == ([2, 4] if "formula" in sheet.path else [2, 3])


@every_sheet
def test_a_dry_run_answers_the_same_and_writes_nothing(sheet: Sheet, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    tried = sent(api, sheet, sheet.lines(), "?dry_run=true")
    assert tried.status_code == 200
    assert changed(before) == []
    done = sent(api, sheet, sheet.lines()).json()
    blank = {"id": None, "number": None, "version": None}
    assert tried.json()["written"] == [
        {**row, **{name: None for name in blank if name in row}} for row in done["written"]
    ]


@every_sheet
def test_a_dry_run_finds_the_same_faults(sheet: Sheet, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    data = sheet.lines(sheet.rows[0], "," * sheet.header.count(",") + "x")
    answers = [sent(api, sheet, data, query) for query in ("", "?dry_run=true")]
    assert [answer.status_code for answer in answers] == [400, 400]
    assert answers[0].json()["errors"] == answers[1].json()["errors"]


@every_sheet
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("start", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_sheets_of_any_spreadsheet_are_read(
    sheet: Sheet, delimiter: str, start: str, end: str, world: World, client_of: Any
) -> None:
    data = start + sheet.lines().decode().replace(",", delimiter).replace("\n", end) + end
    assert sent(client_of(world.owner), sheet, data.encode(), "?dry_run=true").json()["rows"] == len(
        sheet.rows
    )


@every_sheet
@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (lambda sheet: b"", "empty"),
        (lambda sheet: b"\n\n\n", "empty"),
        (lambda sheet: sheet.lines().decode().encode("utf-16"), "UTF-8"),
        (lambda sheet: sheet.lines() + b"\n\xe9t\xe9,1,2", "on line"),
        (lambda sheet: sheet.lines() + b"\na\x00b,1,2", "NUL"),
        (lambda sheet: sheet.lines(header=sheet.header + ",colour"), "There is no column “colour”"),
        (lambda sheet: sheet.lines(header=f"{sheet.header},{sheet.required}"), "stands there twice"),
        (lambda sheet: sheet.lines(header=sheet.header + ","), "has no name"),
        (lambda sheet: sheet.lines(header=sheet.text), "is missing"),
        (lambda sheet: sheet.lines(sheet.rows[0], sheet.rows[1].rpartition(",")[0]), "Line 3 ends before"),
        (lambda sheet: sheet.lines(sheet.rows[0], sheet.rows[1] + ",more"), "Line 3 has a cell in column"),
        (lambda sheet: sheet.lines(sheet.rows[0], '"open'), "Line 3"),
        (lambda sheet: sheet.lines(*["x" * 120_000]), "Line 2"),
    ],
    ids=["empty", "blank", "utf-16", "latin-1", "nul", "unknown", "twice", "nameless", "missing", "short", "long",
         "quote", "huge"],
)  # fmt: skip
def test_a_sheet_that_cannot_be_read_is_refused(
    sheet: Sheet, spoil: Any, sentence: str, world: World, client_of: Any
) -> None:
    problem = refused(client_of(world.owner), sheet, spoil(sheet))
    assert problem["type"] == "/problems/bad-sheet"
    assert sentence in " ".join(
        [problem["detail"], *(said for under in problem.get("errors", {}).values() for said in under)]
    )


@every_sheet
def test_a_sheet_of_a_row_too_many_is_refused(sheet: Sheet, world: World, client_of: Any) -> None:
    rows = [sheet.rows[0]] * 20_001
    assert "more than 20000 rows" in refused(client_of(world.owner), sheet, sheet.lines(*rows))["detail"]


@every_sheet
def test_a_sheet_of_a_header_alone_writes_nothing(sheet: Sheet, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    answer = sent(api, sheet, sheet.header.encode())
    assert answer.json() == {"rows": 0, "written": [], "dry_run": False}
    assert changed(before) == []


@every_sheet
def test_every_bad_row_is_told_with_its_line_and_column(sheet: Sheet, world: World, client_of: Any) -> None:
    cells = sheet.rows[0].split(",")
    place = sheet.header.split(",").index(sheet.required)
    bad = ",".join([*cells[:place], "", *cells[place + 1 :]])
    problem = refused(client_of(world.owner), sheet, sheet.lines(bad, sheet.rows[1], bad, "", bad))
    assert list(problem["errors"]) == [f"{line}.{sheet.required}" for line in (2, 4, 6)]
    for key, sentences in problem["errors"].items():
        line = key.partition(".")[0]
        assert all(said.startswith(f"Line {line}, column {sheet.required}: ") for said in sentences)
    assert problem["detail"].endswith("(2 more below)")


@every_sheet
def test_a_sheet_sent_as_something_else_is_refused(sheet: Sheet, world: World, client_of: Any) -> None:
    answer = client_of(world.owner).post(sheet.path, {"name": "x"})
    assert answer.status_code == 415
    assert answer.json()["detail"].endswith("Send the sheet as text/csv.")


@every_sheet
def test_a_sheet_sent_again_with_its_key_is_written_once(sheet: Sheet, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    first = api.call("POST", sheet.path, sheet.lines(), content_type="text/csv", idempotency_key='"a"')
    before = fingerprint()
    again = api.call("POST", sheet.path, sheet.lines(), content_type="text/csv", idempotency_key='"a"')
    assert again["Idempotent-Replay"] == "true"
    assert again.content == first.content
    assert changed(before) == []


@pytest.mark.parametrize("sheet", SHEETS[1:], ids=str)
def test_a_decimal_comma_is_met_with_a_hint(sheet: Sheet, world: World, client_of: Any) -> None:
    data = sheet.lines().replace(b",", b";").replace(b";5.5;", b";5,5;").replace(b";3;", b";3,5;")
    problem = refused(client_of(world.owner), sheet, data)
    assert all("Use a point, not a comma." in said for under in problem["errors"].values() for said in under)
