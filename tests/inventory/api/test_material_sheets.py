"""Materials as CSV sheets, out of one studio and into another."""

from typing import Any

from tests.api.sheets import exported, rows_of, send, without
from tests.workbench import Workbench

HEADER = (
    "name,kind,cas,synonyms,density_g_ml,flash_point_c,hazards,shelf_life_days,stock_shelf_life_days,note\n"
)


def test_a_row_says_all_that_a_request_can(api: Any) -> None:
    row = "linalool,odorant,78706,linalyl alcohol,0.862,76,H315 h317;EUH208,730,365,keeps well\n"
    [written] = send(api, "materials/import/", HEADER + row).json()["written"]
    assert api.get(f"materials/{written['id']}/").json() == {
        "id": written["id"],
        "name": "linalool",
        "kind": "odorant",
        "cas": "78-70-6",
        "synonyms": "linalyl alcohol",
        "density_g_ml": "0.862000",
        "flash_point_c": "76.0",
        "hazards": ["H315", "H317", "EUH208"],
        "shelf_life_days": 730,
        "stock_shelf_life_days": 365,
        "making_days": 0,
        "resting_days": 0,
        "largest_stock": None,
        "note": "keeps well",
        "edition": 1,
    }


def test_faults_of_shape_are_told_together(api: Any) -> None:
    sheet = HEADER + ",resin,,,0,hot,,x,,\n"
    problem = send(api, "materials/import/", sheet).json()
    assert problem["type"] == "/problems/bad-rows"
    assert set(problem["errors"]) == {
        f"2.{name}" for name in ("name", "kind", "density_g_ml", "flash_point_c", "shelf_life_days")
    }


def test_faults_that_only_the_card_can_show_have_line_and_column_too(api: Any, bench: Workbench) -> None:
    bench.material("linalool")
    sheet = "name,cas,hazards\nLinalool,,\ncitral,5392-40-5,H999\nvanillin,121-33-6,\nCitral,,\n"
    errors = send(api, "materials/import/", sheet).json()["errors"]
    assert set(errors) == {"2.name", "3.hazards", "4.cas", "5.name"}
    assert errors["2.name"] == ["Line 2, column name: There is already a material “Linalool”."]
    assert api.get("materials/?search=citral").json()["items"] == []


def test_an_export_can_be_imported_into_another_studio(
    api: Any, api_of: Any, bench: Workbench, stranger: Any
) -> None:
    bench.material("linalool", cas="78-70-6", hazards=["H315", "H317"], note="first line\nsecond, with comma")
    bench.material("ethanol", flash_point_c=13)
    bench.material("=1+1", synonyms="-x; 'quoted'", note="@sum")
    bench.material("'=apostrophe", synonyms="-5")
    bench.material("“quoted” é 🌹")
    sheet = exported(api, "materials/")
    assert send(api_of(stranger), "materials/import/", sheet).status_code == 201
    there = without(api_of(stranger).all("materials/"), "id")
    assert there == without(api.all("materials/"), "id")


def test_no_cell_of_an_export_starts_a_formula(api: Any, bench: Workbench) -> None:
    for name in ("=cmd", "+1", "-1+1", "@x", "\uff1dwide"):
        bench.material(name, note=f"{name} again")
    for row in rows_of(exported(api, "materials/")):
        assert all(cell[:1] not in ("=", "+", "@", "\uff1d") and cell[:2] != "-1" for cell in row.values())


def test_a_base_is_refused_with_what_to_do(api: Any, api_of: Any, bench: Workbench, stranger: Any) -> None:
    from batches.actions.formulas import adopt_as_base

    version = bench.formula("soft", "linalool 1")
    adopt_as_base(by=bench.by, now=bench.now, version=version, name="soft base")
    there = api_of(stranger)
    problem = send(there, "materials/import/", exported(api, "materials/")).json()
    assert list(problem["errors"]) == ["3.kind"]
    assert "export with kind=odorant&kind=solvent" in problem["detail"]
    sheet = exported(api, "materials/?kind=odorant&kind=solvent")
    assert send(there, "materials/import/", sheet).status_code == 201
