"""Bottles as CSV sheets: received by the names of things, moved from one studio to another as they stand."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from inventory.actions.counting import count_lot
from inventory.actions.holding import hold_lots
from inventory.actions.places import add_shelf
from inventory.actions.placing import change_lot
from tests.api.sheets import exported, rows_of, send, without
from tests.workbench import Workbench, assert_everything_holds

HEADER = (
    "material,mass,strength,solvent,purity,tare,capacity_ml,supplier,supplier_lot,price,received_at,expires_on,"
    "shelf,keeper,title,note\n"
)
ITS_OWN = (
    "number",
    "material",
    "solvent",
    "shelf",
    "keeper",
    "recorded_at",
    "made_mass",
    "opened_at",
    "edition",
)
"""What a bottle has in one studio alone; what it is called by name is compared."""


@pytest.fixture
def shelved(bench: Workbench) -> Workbench:
    """A bench with its materials and one shelf."""
    for name in ("linalool", "ethanol"):
        bench.material(name)
    add_shelf(by=bench.by, now=bench.now, name="Cold")
    return bench


def test_a_row_says_all_that_a_request_can(api: Any, shelved: Workbench, maker: Any) -> None:
    row = (
        f"LINALOOL,10,0.5,Ethanol,0.97,12.5,30,A,L-1,8.50,2026-02-01T08:00:00+01:00,2028-01-01,cold,"
        f"{maker.person.email.upper()},My linalool,=note\n"
    )
    [written] = send(api, "bottles/import/", HEADER + row).json()["written"]
    lot = api.get(f"lots/{written['number']}/").json()
    said = {
        "title": "My linalool", "material_name": "linalool", "solvent_name": "ethanol", "on_hand": "10.000000",
        "actual_strength": "0.5", "purity": "0.97", "tare": "12.500000", "capacity_ml": "30.000", "supplier": "A",
        "supplier_lot": "L-1", "cost_per_gram": "0.850000000", "made_at": "2026-02-01T07:00:00Z",
        "expires_on": "2028-01-01", "shelf_name": "Cold", "keeper_name": maker.person.name, "note": "=note",
    }  # fmt: skip
    assert {name: lot[name] for name in said} == said
    assert_everything_holds()


def test_names_that_are_not_there_are_told_by_line_and_column(api: Any, shelved: Workbench) -> None:
    sheet = "material,mass,solvent,strength,shelf,keeper\nrose,1,,,,\nlinalool,1,water,0.5,warm,nobody\n"
    errors = send(api, "bottles/import/", sheet).json()["errors"]
    assert set(errors) == {"2.material", "3.solvent", "3.shelf", "3.keeper"}
    assert errors["3.solvent"] == ["Line 3, column solvent: There is no material “water” in this studio."]


def test_what_contradicts_itself_is_told_by_line_and_column(api: Any, shelved: Workbench) -> None:
    sheet = (
        "material,mass,solvent,strength,received_at,price\nlinalool,1,,0.5,,\nlinalool,1,ethanol,,,\n"
        "linalool,1,linalool,0.5,,\nlinalool,1,,,2999-01-01T00:00:00Z,\nlinalool,0.000001,,,,9999\n"
    )
    problem = send(api, "bottles/import/", sheet).json()
    assert set(problem["errors"]) == {"2.solvent", "3.solvent", "4.solvent", "5.received_at", "6.price"}
    assert api.all("bottles/") == []


def test_a_keeper_may_be_named_as_long_as_there_is_one_of_that_name(
    api: Any, shelved: Workbench, owner: Any, new_studio: Any
) -> None:
    sheet = f"material,mass,keeper\nlinalool,1,{owner.person.name}\n"
    assert send(api, "bottles/import/", sheet).status_code == 201
    from studio.actions.studios import add_member
    from tests.conftest import NOW, PASSWORD

    add_member(
        by=owner, name=owner.person.name, email="other@example.org", password=PASSWORD, role="maker", at=NOW
    )
    errors = send(api, "bottles/import/", sheet).json()["errors"]
    assert "give the e-mail address" in errors["2.keeper"][0]


def test_numbers_of_a_dry_run_or_a_refusal_are_not_used_up(api: Any, shelved: Workbench) -> None:
    sheet = "material,mass\nlinalool,1\n"
    first = shelved.bottle("linalool 1g").number
    send(api, "bottles/import/?dry_run=true", sheet)
    send(api, "bottles/import/", sheet + "rose,1\n")
    [written] = send(api, "bottles/import/", sheet).json()["written"]
    assert [first[3:7], written["number"][3:7]] == ["0001", "0002"]


def test_an_export_moves_what_is_left_to_another_studio(
    api: Any, api_of: Any, shelved: Workbench, new_studio: Any
) -> None:
    bench = shelved
    add_shelf(by=bench.by, now=bench.now, name="=warm")
    half = bench.bottle(
        "linalool@50%/ethanol 10g", tare=Decimal(5), price=Decimal("4"), purity=Decimal("0.98")
    )
    bench.bottle("ethanol 200g", supplier="-A", supplier_lot="=1", expires_on=date(2027, 5, 1), note="a\nb")
    change_lot(by=bench.by, now=bench.now, lot=half, changes={"title": "@half"})
    count_lot(by=bench.by, now=bench.now, number=half.number, gross=Decimal(9))
    there = api_of(new_studio())
    send(there, "materials/import/", exported(api, "materials/"))
    there.post("shelves/", {"name": "cold"})
    assert send(there, "bottles/import/", exported(api, "bottles/")).status_code == 201
    ours, theirs = (without(one.all("bottles/"), *ITS_OWN) for one in (api, there))
    assert theirs == ours
    assert theirs[0] | {"on_hand": "4.000000", "title": "@half", "cost_per_gram": "0.400000000"} == theirs[0]
    assert_everything_holds()


def test_a_bottle_whose_solvent_evaporated_goes_out_as_strong_as_it_has_become(
    api: Any, shelved: Workbench
) -> None:
    lot = shelved.bottle("linalool@50%/ethanol 10g", tare=Decimal(5))
    gone = {"by": shelved.by, "now": shelved.now, "number": lot.number, "loss": "evaporated"}
    count_lot(gross=Decimal(13), **gone)
    assert rows_of(exported(api, "bottles/"))[0]["strength"] == "0.625"
    count_lot(gross=Decimal(10), **gone)
    [row] = rows_of(exported(api, "bottles/"))
    assert (row["strength"], row["solvent"]) == ("1", "")


def test_a_bottle_on_hold_or_empty_is_refused_with_what_to_do(api: Any, shelved: Workbench) -> None:
    held = shelved.bottle("linalool 10g")
    hold_lots(by=shelved.by, now=shelved.now, lot_ids=[held.id], why="cloudy")
    empty = shelved.bottle("linalool 10g", tare=Decimal(5))
    count_lot(by=shelved.by, now=shelved.now, number=empty.number, gross=Decimal(5))
    shelved.bottle("linalool 3g")
    errors = send(api, "bottles/import/", exported(api, "bottles/")).json()["errors"]
    assert set(errors) == {"2.hold_reason", "3.mass"}
    assert "export with held=false" in errors["2.hold_reason"][0]
    assert send(api, "bottles/import/", exported(api, "bottles/?open=true&held=false")).status_code == 201


def test_the_list_of_all_lots_is_no_sheet_of_bottles(api: Any, shelved: Workbench) -> None:
    shelved.bottle("linalool 10g")
    problem = send(api, "bottles/import/", exported(api, "lots/")).json()
    assert problem["type"] == "/problems/bad-sheet"
    assert "1.mass" in problem["errors"]
