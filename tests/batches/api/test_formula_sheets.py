"""Formulas as CSV sheets: one row a line, out of one studio and into another."""

from typing import Any

from batches.actions.formulas import adopt_as_base
from tests.api.sheets import exported, rows_of, send, without
from tests.workbench import Workbench

HEADER = "formula,name,material,strength,solvent,parts\n"


def lines_of(api: Any, code: str, version: int) -> list[dict[str, Any]]:
    lines: list[dict[str, Any]] = api.get(f"formulas/{code}/versions/{version}/").json()["lines"]
    return lines


def test_rows_of_a_code_make_a_formula_in_their_order(api: Any, bench: Workbench) -> None:
    bench.material("linalool"), bench.material("ethanol")
    sheet = HEADER + "a-1,,Linalool,0.1,ethanol,3\nb,Bee,linalool,,,1.5\nA-1,First,ethanol,,,7\n"
    assert send(api, "formulas/import/", sheet).json()["written"] == [
        {"line": 2, "code": "a-1", "version": 1, "new": True},
        {"line": 3, "code": "b", "version": 1, "new": True},
    ]
    assert api.get("formulas/A-1/").json()["name"] == "First"
    assert [
        (line["name"], line["strength"], line["solvent_name"], line["parts"])
        for line in lines_of(api, "a-1", 1)
    ] == [
        ("linalool", "0.1", "ethanol", "3.000000"),
        ("ethanol", "1", None, "7.000000"),
    ]


def test_a_known_code_gets_its_next_version_unless_it_says_the_same(api: Any, bench: Workbench) -> None:
    bench.material("linalool"), bench.material("ethanol")
    sheet = HEADER + "a,,linalool,,,3\na,,ethanol,,,7\n"
    send(api, "formulas/import/", sheet)
    [same] = send(api, "formulas/import/", sheet.replace(",3\n", ",3.000\n")).json()["written"]
    assert same == {"line": 2, "code": "a", "version": 1, "new": False}
    [other] = send(api, "formulas/import/", sheet.replace(",7\n", ",8\n")).json()["written"]
    assert other == {"line": 2, "code": "a", "version": 2, "new": True}
    assert [row["number"] for row in api.all("formulas/a/versions/")] == [1, 2]


def test_faults_are_told_by_line_and_column(api: Any, bench: Workbench) -> None:
    bench.material("linalool"), bench.material("ethanol")
    sheet = HEADER + "a b,,linalool,,,1\na,,rose,,,1\na,,linalool,2,,x\na,,linalool,0.1,water,1\n"
    errors = send(api, "formulas/import/", sheet).json()["errors"]
    assert set(errors) == {"2.formula", "3.material", "4.strength", "4.parts", "5.solvent"}
    sheet = (
        HEADER + "a,,linalool,0.1,,1\na,,ethanol,0.5,,1\na,,linalool,,ethanol,1\na,,linalool,0.5,linalool,1\n"
    )
    errors = send(api, "formulas/import/", sheet).json()["errors"]
    assert set(errors) == {"2.solvent", "3.strength", "4.solvent", "5.solvent"}
    assert errors["2.solvent"][0].startswith("Line 2, column solvent: ")
    assert api.all("formulas/") == []


def test_a_formula_of_too_many_lines_is_told_where(api: Any, bench: Workbench) -> None:
    bench.material("linalool")
    errors = send(api, "formulas/import/", HEADER + "a,,linalool,,,1\n" * 501).json()["errors"]
    assert errors == {"502.formula": ["Line 502, column formula: A formula has at most 500 lines."]}


def test_a_base_that_would_contain_itself_leaves_every_formula_unwritten(api: Any, bench: Workbench) -> None:
    adopt_as_base(by=bench.by, now=bench.now, version=bench.formula("soft", "linalool 1"), name="soft base")
    sheet = HEADER + "new,,linalool,,,1\nsoft,,soft base,,,1\n"
    answer = send(api, "formulas/import/", sheet)
    assert answer.status_code == 400
    assert "would contain itself" in answer.json()["detail"]
    assert [row["code"] for row in api.all("formulas/")] == ["soft"]


def test_an_export_can_be_imported_into_another_studio(
    api: Any, api_of: Any, bench: Workbench, stranger: Any
) -> None:
    bench.formula(
        "first", "linalool@10%/ethanol 3", "vanillin@1%/dipropylene glycol 0.125", "ethanol 5", name="=First"
    )
    bench.formula("second", "linalool 1", "linalool@10% 2")
    first = bench.formula("third", "linalool 1").formula
    from batches.actions.formulas import write_next_version

    write_next_version(by=bench.by, now=bench.now, formula=first, lines=[bench.line("vanillin 2")])
    there = api_of(stranger)
    send(there, "materials/import/", exported(api, "materials/"))
    sheet = exported(api, "formulas/")
    assert [row["version"] for row in rows_of(sheet)] == ["1"] * 5 + ["2"]
    assert send(there, "formulas/import/", sheet).status_code == 201
    for code, ours, theirs in (("first", 1, 1), ("second", 1, 1), ("third", 2, 1)):
        assert without(lines_of(there, code, theirs), "material", "solvent") == without(
            lines_of(api, code, ours), "material", "solvent"
        )
    assert there.get("formulas/first/").json()["name"] == "=First"
    again = send(there, "formulas/import/", sheet).json()["written"]
    assert [row["new"] for row in again] == [False] * 3


def test_an_export_follows_the_filter_and_the_order_of_the_list(api: Any, bench: Workbench) -> None:
    for code in ("b-rose", "a-rose", "c"):
        bench.formula(code, "linalool 1", "ethanol 2")
    rows = rows_of(exported(api, "formulas/?search=rose&ordering=-code"))
    assert [(row["formula"], row["position"]) for row in rows] == [
        ("b-rose", "1"), ("b-rose", "2"), ("a-rose", "1"), ("a-rose", "2"),
    ]  # fmt: skip
