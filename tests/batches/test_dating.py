"""The day a batch is to be made on."""

from datetime import timedelta

import pytest

from batches.actions.batch_lock import WrongState
from batches.actions.dating import date_batch
from batches.actions.reserving import stale_batches
from batches.models import Batch
from studio.models import HistoryEntry
from tests.client import Api
from tests.pages import Visitor
from tests.workbench import Workbench


@pytest.fixture
def reserved(bench: Workbench) -> Batch:
    bench.bottle("linalool 100g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "2")
    return bench.reserve(batch)


def test_a_batch_is_moved_from_day_to_day_until_it_is_weighed(bench: Workbench, reserved: Batch) -> None:
    friday = bench.now.date() + timedelta(days=5)
    moved = date_batch(by=bench.by, now=bench.now, number=reserved.number, planned_on=friday)
    assert (moved.planned_on, moved.edition) == (friday, reserved.edition + 1)
    same = date_batch(by=bench.by, now=bench.now, number=reserved.number, planned_on=friday)
    assert same.edition == moved.edition
    assert [entry.changes for entry in HistoryEntry.objects.filter(verb="dated")] == [
        {"planned_on": [None, friday.isoformat()]}
    ]
    bench.weigh(reserved, 1, "2")
    with pytest.raises(WrongState):
        date_batch(by=bench.by, now=bench.now, number=reserved.number, planned_on=None)


def test_a_claim_goes_stale_from_the_day_of_its_batch_on(bench: Workbench, reserved: Batch) -> None:
    days = bench.by.studio.claim_days
    day = bench.now.date() + timedelta(days=30)
    date_batch(by=bench.by, now=bench.now, number=reserved.number, planned_on=day)
    bench.later(days=days + 1)
    assert stale_batches(studio=bench.by.studio, now=bench.now) == []
    bench.later(days=30)
    assert stale_batches(studio=bench.by.studio, now=bench.now) == [reserved]


def test_the_day_is_set_over_the_api(api: Api, reserved: Batch) -> None:
    answer = api.patch(f"batches/{reserved.number}/", {"planned_on": "2026-04-01"})
    assert answer.json()["batch"]["planned_on"] == "2026-04-01"
    stale = api.patch(f"batches/{reserved.number}/", {"planned_on": None}, etag='"1"')
    assert stale.status_code == 412


def test_the_day_is_set_on_the_page(bench: Workbench, reserved: Batch) -> None:
    visitor = Visitor(bench.by)
    page = f"/batches/{reserved.number}/"
    sent = visitor.client.post(f"{page}day/", {"once": visitor.key(page), "planned_on": "2026-04-01"})
    assert sent.status_code == 303
    assert "is to be made on 1 Apr 2026" in visitor.text(page)
