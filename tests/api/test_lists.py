"""Every list: all of it by pages whatever the order, in a fixed number of statements, within the bounds of a page."""

import csv
import io
import itertools
import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.formulas import write_next_version
from inventory.actions.places import add_shelf, check_balance
from tests.api.contract import Operation, of_floors
from tests.api.world import World
from tests.workbench import Workbench

LISTS = [one for one in of_floors() if one.is_list]
FEW, MANY = 3, 30


def orderings(operation: Operation) -> list[str]:
    """The names that a list can be ordered by, as its description has them."""
    pattern: str = operation.parameters("query")["ordering"]["pattern"]
    names = re.match(r"\\^-\\?\\(([a-z_|]+)\\)", re.escape(pattern).replace("\\|", "|").replace("\\_", "_"))
    return re.match(r"\^-\?\(([a-z_|]+)\)", pattern)[1].split("|") if names or pattern else []


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_the_pages_of_a_list_are_all_of_it_once_in_every_order(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    names = orderings(operation)
    assert names
    orders = [*names, *(f"-{name}" for name in names)]
    orders += [f"{first},-{second}" for first, second in itertools.permutations(names, 2)][:3]
    for order in orders:
        whole = api.get(f"{address}?ordering={order}&limit=200").json()
        assert whole["next"] is None
        for limit in (1, 4):
            assert api.all(f"{address}?ordering={order}&limit={limit}") == whole["items"], (order, limit)
        in_order(whole["items"], order)


def in_order(rows: list[Any], order: str) -> None:
    """Rows stand in the order of the first name, where they show it: empty values last, whichever the direction."""
    name = order.partition(",")[0]
    field = name.removeprefix("-")
    if not rows or field not in rows[0]:
        return
    values = [row[field] for row in rows]
    filled = [value for value in values if value is not None]
    assert values == filled + [None] * (len(values) - len(filled)), order
    keys = [Decimal(value) if re.fullmatch(r"-?\d+\.\d+", str(value)) else value for value in filled]
    assert keys == sorted(keys, reverse=name.startswith("-")), order


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_a_page_has_its_bounds(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    assert len(api.get(f"{address}?limit=1").json()["items"]) == 1
    for limit in ("0", "201", "-1", "1.0", "", "all"):
        answer = api.get(f"{address}?limit={limit}")
        assert answer.status_code == 400
        assert "limit" in answer.json()["errors"]


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_a_list_as_a_sheet_has_every_row(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    answer = api.get(f"{address}?format=csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"].startswith('attachment; filename="')
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode("utf-8-sig"))))
    if operation.name == "formulas_list":
        assert len({row["formula"] for row in rows}) == len(api.all(address))
    else:
        assert len(rows) == len(api.all(address))
    assert api.get(f"{address}?format=csv&limit=1").status_code == 400


def test_a_list_costs_the_same_statements_whatever_it_holds(bench: Workbench, api_of: Any) -> None:
    api = api_of(bench.by)
    places = grown(bench, FEW, first=True)
    costs = {str(operation): cost(api, operation, places) for operation in LISTS}
    places |= grown(bench, MANY - FEW)
    for operation in LISTS:
        rows, statements = cost(api, operation, places)
        assert rows >= MANY, f"{operation} has {rows} rows; let `grown` make more of them"
        assert statements == costs[str(operation)][1], operation


def cost(api: Any, operation: Operation, places: dict[str, str]) -> tuple[int, list[int]]:
    """How many rows a list has, and how many statements its first page and its sheet take."""
    address = operation.path.format(**places)
    statements = []
    api.get("shelves/")
    for form in ("?limit=200", "?format=csv"):
        with CaptureQueriesContext(connection, ) as captured:
            answer = api.get(address + form)
            if answer.streaming:
                list(answer.streaming_content)
        statements.append(len(captured))
    return len(api.all(f"{address}?limit=200")), statements


def grown(bench: Workbench, count: int, *, first: bool = False) -> dict[str, str]:
    """So many more of everything that there are lists of; returns what stands in the addresses of lists."""
    if first:
        bench.bottle("linalool 500g")
        bench.bottle("ethanol 500g")
        bench.balance()
        bench.formula("simple", "linalool 3", "ethanol 5")
    by, now = bench.by, bench.now
    balance = bench.by.studio_balance() if hasattr(bench.by, "studio_balance") else _balance(bench)
    version = _version(bench)
    for number in range(count):
        name = f"{len(bench.materials)}-{number}"
        shelf = add_shelf(by=by, now=now, name=f"shelf {name}", keeper=by)
        bench.bottle(
            f"material n{name.replace('-', 'x')} 5g".replace(" n", " n"), shelf=shelf, keeper=by, expires_on=date(2030, 1, 1)
        ) if False else bench.bottle("vanillin 5g", shelf=shelf, keeper=by, expires_on=date(2030, 1, 1))
    return {}
