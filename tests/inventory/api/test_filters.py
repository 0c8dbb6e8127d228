"""What the filters and the search of materials, lots and movements find."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from inventory.actions.counting import count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.places import add_shelf
from tests.workbench import Workbench


def found(api: Any, path: str, name: str = "name") -> list[str]:
    return [row[name] for row in api.all(path)]


@pytest.fixture
def cards(bench: Workbench) -> Workbench:
    bench.material("linalool", cas="78-70-6", synonyms="licareol, coriandrol")
    bench.material("linalyl acetate", cas="115-95-7")
    bench.material("ethanol", synonyms="alcohol, 100 % spirit_of_wine")
    return bench


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("kind=solvent", ["ethanol"]),
        ("kind=solvent&kind=odorant", ["ethanol", "linalool", "linalyl acetate"]),
        ("cas=78-70-6", ["linalool"]),
        ("search=linal", ["linalool", "linalyl acetate"]),
        ("search=LINAL", ["linalool", "linalyl acetate"]),
        ("search=acetate linal", ["linalyl acetate"]),
        ("search=corian", ["linalool"]),
        ("search=115-95", ["linalyl acetate"]),
        ("search=rose", []),
        ("search=%25 spirit_", ["ethanol"]),
        ("search=_", ["ethanol"]),
        ("search=linal&kind=solvent", []),
    ],
)
def test_materials_are_found_by_kind_number_and_words(
    api: Any, cards: Workbench, query: str, names: list[str]
) -> None:
    assert found(api, f"materials/?{query}") == names


@pytest.fixture
def shelf_of(bench: Workbench, maker: Any) -> dict[str, str]:
    """Lots of every sort, by what is special about each."""
    cold = add_shelf(by=bench.by, now=bench.now, name="cold")
    lots = {
        "neat": bench.bottle("linalool 10g", shelf=cold, supplier_lot="LX-77"),
        "spirit": bench.bottle("ethanol 500g", expires_on=date(2026, 6, 1)),
        "kept": bench.bottle("vanillin 5g", keeper=maker),
        "empty": bench.bottle("vanillin 1g"),
    }
    discard(by=bench.by, now=bench.now, number=lots["empty"].number, why="spilt")
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lots["kept"].id], why="cloudy")
    lots["stock"] = bench.stock("linalool@10% 20g")
    vial = Container(title="strip")
    lots["vial"] = draw_off(
        by=bench.by, now=bench.now, number=lots["stock"].number, mass=Decimal(2), container=vial
    )
    bench.reserve(bench.plan_stock("linalool@1% 50g"))
    names = {name: lot.number for name, lot in lots.items()}
    ids = {name: str(bench.materials[name].id) for name in ("linalool", "vanillin", "ethanol")}
    return {**names, **ids, "cold": str(cold.id), "maker": str(maker.id), "batch": lots["stock"].made_in}


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", "neat spirit kept empty stock vial"),
        ("kind=bottle", "neat spirit kept empty"),
        ("kind=stock&kind=vial", "stock vial"),
        ("material={vanillin}", "kept empty"),
        ("contains={linalool}", "neat stock vial"),
        ("contains={linalool}&kind=stock", "stock"),
        ("shelf={cold}", "neat"),
        ("keeper={maker}", "kept"),
        ("open=true", "neat spirit kept stock vial"),
        ("open=false", "empty"),
        ("held=true", "kept"),
        ("held=false", "neat spirit empty stock vial"),
        ("expires_before=2026-06-01", ""),
        ("expires_before=2026-06-02", "spirit stock vial"),
        ("made_in={batch}", "stock vial"),
        ("available_lt=5", "empty vial"),
        ("available_gte=20", "spirit"),
        ("search=strip", "vial"),
        ("search=LX-77", "neat"),
        ("search=linalool", "neat stock"),
        ("search={neat}", "neat"),
    ],
)
def test_lots_are_found_by_what_they_are_and_hold(
    api: Any, shelf_of: dict[str, str], query: str, expected: str
) -> None:
    numbers = found(api, f"lots/?{query.format(**shelf_of)}", "number")
    assert numbers == sorted(shelf_of[name] for name in expected.split())


def test_bottles_are_lots_of_one_kind_under_the_same_filters(api: Any, shelf_of: dict[str, str]) -> None:
    assert found(api, "bottles/?contains={linalool}".format(**shelf_of), "number") == [shelf_of["neat"]]
    assert found(api, "bottles/?kind=stock", "number") == []


@pytest.mark.parametrize(
    ("query", "reasons"),
    [
        ("lot={neat}", ["weighed in", "received"]),
        ("batch={batch}", ["weighed in", "weighed in"]),
        ("reason=discarded", ["discarded"]),
        ("reason=discarded&reason=drawn+off", ["drawn off", "discarded"]),
        ("since=2999-01-01T00:00:00Z", []),
        ("until=2026-03-01T09:30:00Z", []),
        ("since=2026-03-01T10:30:00%2B01:00&lot={vial}", ["drawn off"]),
    ],
)
def test_movements_are_found_by_lot_batch_reason_and_time(
    api: Any, shelf_of: dict[str, str], query: str, reasons: list[str]
) -> None:
    assert found(api, f"movements/?{query.format(**shelf_of)}", "reason") == reasons


def test_empty_values_come_last_and_equal_ones_by_their_key(api: Any, shelf_of: dict[str, str]) -> None:
    days = found(api, "lots/?ordering=expires_on", "expires_on")
    assert days == ["2026-06-01"] * 3 + [None] * 3
    assert found(api, "lots/?ordering=-expires_on", "expires_on") == days


def test_a_lot_that_is_counted_empty_is_open_no_more(
    api: Any, shelf_of: dict[str, str], bench: Workbench
) -> None:
    count_lot(by=bench.by, now=bench.now, number=shelf_of["vial"], gross=Decimal(3), tare=Decimal(3))
    assert shelf_of["vial"] in found(api, "lots/?open=false", "number")
