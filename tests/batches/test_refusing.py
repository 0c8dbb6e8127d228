"""What is refused at the bench is noted once, can be found, and is in no balance."""

from typing import Any

import pytest

from batches.actions.refusing import Refused, note_refused
from batches.actions.weigh_plans import plan_again
from batches.models import Batch, LotTold, RefusedFor, RefusedReading
from batches.queries.batches import sealed_record
from inventory.models import Lot, Movement
from studio.models.scoped import NoSuchThing
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(bench: Workbench) -> Batch:
    bench.bottle("linalool 50g")
    planned = bench.plan(bench.formula("neat", "linalool 1"), "10")
    bench.reserve(planned)
    planned.refresh_from_db()
    return planned


def note(bench: Workbench, batch: Batch, operation: str = "one", **told: Any) -> RefusedReading:
    refused = Refused(
        **{
            "operation": operation,
            "position": 1,
            "kind": RefusedFor.UNFIT,
            "told": "SD +1.204 g",
            "why": "The reading is still moving; it is not recorded.",
            **told,
        }
    )
    return note_refused(by=bench.by, now=bench.now, number=batch.number, refused=refused, at=bench.now)


def test_a_refusal_told_twice_is_noted_once(bench: Workbench, batch: Batch) -> None:
    assert note(bench, batch) == note(bench, batch)
    assert note(bench, batch, "another") != note(bench, batch)
    assert RefusedReading.objects.of(bench.by.studio).count() == 2


def test_it_moves_nothing_claims_nothing_and_leaves_the_edition(bench: Workbench, batch: Batch) -> None:
    lot, movements = Lot.objects.get(), Movement.objects.count()
    note(bench, batch)
    after = Lot.objects.get()
    assert (after.on_hand, after.reserved) == (lot.on_hand, lot.reserved)
    assert Movement.objects.count() == movements
    edition = batch.edition
    batch.refresh_from_db()
    assert batch.edition == edition
    assert_everything_holds()


def test_a_plan_can_be_made_anew_after_a_wrong_lot_was_scanned(bench: Workbench, batch: Batch) -> None:
    note(bench, batch, kind=RefusedFor.WRONG_LOT, told="26-0009-X")
    plan_again(by=bench.by, now=bench.now, number=batch.number)
    assert RefusedReading.objects.get(batch=batch).told == "26-0009-X"


def test_it_stands_in_the_sealed_record_beside_how_each_lot_was_told(bench: Workbench, batch: Batch) -> None:
    note(bench, batch)
    bench.weigh(batch, 1, "10", lot_told=LotTold.SCANNED)
    bench.close(batch)
    record = sealed_record(studio=bench.by.studio, number=batch.number)["record"]
    assert record["form"] == "batch record 2"
    assert record["refused"] == [
        {
            "position": 1,
            "kind": "unfit reading",
            "told": "SD +1.204 g",
            "because": "The reading is still moving; it is not recorded.",
            "by": bench.by.person.name,
            "at": bench.now.isoformat().replace("+00:00", "Z"),
            "recorded_at": bench.now.isoformat().replace("+00:00", "Z"),
        }
    ]
    assert record["lines"][0]["weighings"][0]["lot_told"] == "scanned"
    assert record["made"]["mass"] == "10.000000"


def test_a_bench_that_tells_late_is_heard_after_the_batch_is_closed(bench: Workbench, batch: Batch) -> None:
    bench.weigh_all(batch)
    bench.close(batch)
    sealed = sealed_record(studio=bench.by.studio, number=batch.number)["seal"]
    note(bench, batch)
    assert RefusedReading.objects.filter(batch=batch).count() == 1
    assert sealed_record(studio=bench.by.studio, number=batch.number)["seal"] == sealed


def test_the_batch_of_another_studio_is_not_there(bench: Workbench, batch: Batch, stranger: Any) -> None:
    bench.by = stranger
    with pytest.raises(NoSuchThing):
        note(bench, batch)


def test_the_api_lists_what_was_refused(api: Any, bench: Workbench, batch: Batch) -> None:
    note(bench, batch)
    [one] = api.get(f"batches/{batch.number}/refused-readings/").json()["items"]
    assert (one["position"], one["kind"], one["told"]) == (1, "unfit reading", "SD +1.204 g")
