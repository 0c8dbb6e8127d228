"""What a list, a lot, a batch cost in statements does not grow with the rows that are shown."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Lot
from tests.client import Api
from tests.workbench import Workbench

NAMES = [f"odorant {letter}" for letter in "abcdefghijklmnopqrst"]


def statements(api: Api, path: str) -> int:
    """How many statements an answer takes; the first use of a key in an hour, which is noted, is not counted."""
    api.get(path)
    with CaptureQueriesContext(connection) as queries:
        answer = api.get(path)
    assert answer.status_code == 200, answer.content
    return len(queries)


@pytest.fixture
def blend_of(bench: Workbench) -> Callable[[int], Any]:
    """A reserved batch of so many materials, weighed and short of one claim."""

    def make(count: int) -> Any:
        for name in NAMES[:count]:
            bench.bottle(f"{name} 10g")
        batch = bench.plan(bench.formula(f"of-{count}", *(f"{name} 1" for name in NAMES[:count])), str(count))
        bench.reserve(batch)
        bench.weigh_all(batch)
        return batch

    return make


def test_the_shelf_list(bench: Workbench, api: Api) -> None:
    counts = set()
    for more in (2, 25):
        for number in range(more):
            shelf_lot = bench.bottle(f"{NAMES[number % 20]}@10%/ethanol 10g", keeper=bench.by)
        assert Lot.objects.of(bench.by.studio).count() >= more
        counts.add(statements(api, "lots/?limit=50&ordering=title"))
    assert len(counts) == 1
    assert shelf_lot.number in {row["number"] for row in api.all("lots/?limit=10")}


def test_the_ledger(bench: Workbench, api: Api) -> None:
    counts = set()
    for more in (2, 25):
        for _ in range(more):
            bench.bottle("linalool 10g")
        counts.add(statements(api, "movements/?limit=50"))
    assert len(counts) == 1


@pytest.mark.parametrize(
    "part", ["", "contents/", "cautions/", "claims/", "trace/", "trace/?direction=forward"]
)
def test_a_lot(bench: Workbench, api: Api, blend_of: Callable[[int], Any], part: str) -> None:
    lots = [bench.close(blend_of(count)) for count in (2, 20)]
    assert len({statements(api, f"lots/{lot.number}/{part}") for lot in lots}) == 1


@pytest.mark.parametrize("part", ["", "weighings/", "overpour/"])
def test_a_batch_in_hand(bench: Workbench, api: Api, blend_of: Callable[[int], Any], part: str) -> None:
    batches = [blend_of(count) for count in (2, 20)]
    assert len({statements(api, f"batches/{batch.number}/{part}") for batch in batches}) == 1


def test_the_list_of_batches(bench: Workbench, api: Api) -> None:
    bench.bottle("linalool 100g")
    version = bench.formula("neat", "linalool 1")
    counts = set()
    for more in (2, 20):
        for _ in range(more):
            bench.plan(version, "1")
        counts.add(statements(api, "batches/?limit=50"))
    assert len(counts) == 1


def test_a_version_and_the_list_of_formulas(bench: Workbench, api: Api) -> None:
    single, listed = set(), set()
    for count in (2, 20):
        bench.formula(f"of-{count}", *(f"{name} 1" for name in NAMES[:count]))
        single.add(statements(api, f"formulas/of-{count}/versions/1/"))
        listed.add(statements(api, "formulas/"))
    assert (len(single), len(listed)) == (1, 1)
