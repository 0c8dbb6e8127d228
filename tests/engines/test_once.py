"""Once: whatever is repeated, at the same time, after a crash or long after, has one effect and one answer.

Two things guard it: the idempotency key of a request, and names that must never stand for two things (the operation
of a weighing, the movements of a closing). A twin takes the lock away and shows what stands behind it.
"""

from collections.abc import Callable
from functools import partial
from threading import Lock
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection

from batches.actions import closing
from batches.actions.batch_lock import WrongState
from batches.actions.closing import close_batch
from batches.actions.reserving import reserve_batch, void_batch
from batches.models import Batch, BatchState
from inventory.actions.reversing import NotReversible, reverse_movement
from inventory.api import lots as lots_api
from inventory.models import Claim, ClaimState, Lot, Movement, Reason
from studio.api import once
from studio.models import HistoryEntry, Member, RememberedAnswer, SealedRecord, Studio
from tests.client import Api
from tests.engines.races import THREADS, at_once, unlocked_batch, without_sqlites_write_lock
from tests.together import raised, together
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.usefixtures("committed")


@pytest.fixture
def secret(owner: Member, key_of: Callable[..., str]) -> str:
    return key_of(owner)


@pytest.fixture
def bottle(bench: Workbench) -> Lot:
    return bench.bottle("linalool 10g")


@pytest.fixture
def weighed(bench: Workbench) -> Batch:
    """A batch of two lines with everything poured, ready to be closed."""
    bench.bottle("linalool 10g")
    bench.bottle("ethanol 100g")
    batch = bench.plan(bench.formula("tenth", "linalool 1", "ethanol 9"), "10")
    bench.reserve(batch)
    bench.weigh_all(batch)
    return batch


def marks(studio: Studio) -> int:
    return RememberedAnswer.objects.filter(member__studio=studio).count()


def vials(studio: Studio) -> int:
    return Lot.objects.of(studio).filter(kind="vial").count()


def drawing(secret: str, lot: Lot, *, key: str | None, mass: str = "2") -> Callable[[], Any]:
    return partial(Api(secret).post, f"lots/{lot.number}/draw-off/", {"mass": mass}, key=key)


# Keys of requests


def test_a_repeated_request_draws_off_once_and_gets_the_first_answer_byte_for_byte(
    secret: str, bottle: Lot, studio: Studio
) -> None:
    first = drawing(secret, bottle, key="k")()
    drawing(secret, bottle, key=None, mass="1")()  # the lot has moved on; the first answer has not
    again = drawing(secret, bottle, key="k")()
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert (again["Location"], again["ETag"]) == (first["Location"], first["ETag"])
    assert vials(studio) == 2
    bottle.refresh_from_db()
    assert bottle.on_hand == 7


@pytest.mark.parametrize("count", [2, THREADS])
def test_repeated_at_the_same_time_it_draws_off_once_and_all_get_the_same_answer(
    secret: str, bottle: Lot, studio: Studio, count: int
) -> None:
    outcomes = at_once(lambda: drawing(secret, bottle, key="k")(), count)
    assert raised(outcomes) == []
    assert {(answer.status_code, answer.content) for answer in outcomes} == {(201, outcomes[0].content)}
    assert vials(studio) == 1
    assert_everything_holds()


def test_twin_without_a_key_each_of_them_draws_off(secret: str, bottle: Lot, studio: Studio) -> None:
    outcomes = at_once(lambda: drawing(secret, bottle, key=None, mass="1")(), 4)
    assert [answer.status_code for answer in outcomes] == [201] * 4
    assert len({answer.content for answer in outcomes}) == 4
    assert vials(studio) == 4


def test_two_different_requests_with_one_key_at_the_same_time_are_not_taken_for_each_other(
    secret: str, bottle: Lot, studio: Studio
) -> None:
    outcomes = together(
        drawing(secret, bottle, key="k", mass="1"), drawing(secret, bottle, key="k", mass="2")
    )
    assert sorted(answer.status_code for answer in outcomes) == [201, 422]
    assert vials(studio) == 1


@pytest.mark.parametrize("change", ["body", "address"])
def test_the_key_of_another_request_is_refused(secret: str, bottle: Lot, studio: Studio, change: str) -> None:
    drawing(secret, bottle, key="k")()
    path = f"lots/{bottle.number}/{'draw-off' if change == 'body' else 'discard'}/"
    answer = Api(secret).post(path, {"mass": "2.000"}, key="k")
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/key-reused")
    bottle.refresh_from_db()
    assert bottle.on_hand == 8


def test_a_refused_request_leaves_no_mark_and_may_succeed_later_with_the_same_key(
    secret: str, bottle: Lot, bench: Workbench, studio: Studio
) -> None:
    refused = drawing(secret, bottle, key="k", mass="11")()
    assert refused.status_code == 409
    assert marks(studio) == 0
    assert Api(secret).post(f"lots/{bottle.number}/count/", {"gross": "12", "tare": "0.5"}).status_code == 200
    assert drawing(secret, bottle, key="k", mass="11")().status_code == 201
    assert marks(studio) == 1


def break_down(*args: Any, **kwargs: Any) -> Any:
    raise RuntimeError("broken")


def lose_the_database(*args: Any, **kwargs: Any) -> Any:
    """As when the server of the database is stopped, or the disk is gone, in the middle of a request."""
    if connection.vendor == "postgresql":
        connection.cursor().execute("SELECT pg_terminate_backend(pg_backend_pid())")
    raise OperationalError("disk I/O error")


@pytest.mark.parametrize("crash", [break_down, lose_the_database])
@pytest.mark.parametrize(
    ("where", "name"),
    [
        pytest.param(lots_api, "_shown", id="between the work and its answer"),
        pytest.param(once, "keep_answer", id="between the answer and its mark"),
    ],
)
def test_a_crash_leaves_neither_work_nor_mark_and_the_retry_does_the_work_once(
    secret: str,
    bottle: Lot,
    studio: Studio,
    monkeypatch: pytest.MonkeyPatch,
    where: Any,
    name: str,
    crash: Callable[..., Any],
) -> None:
    history = HistoryEntry.objects.filter(studio=studio).count()
    with monkeypatch.context() as broken:
        broken.setattr(where, name, crash)
        [answer] = together(drawing(secret, bottle, key="k"))
    assert answer.status_code in (500, 503)
    assert (vials(studio), marks(studio)) == (0, 0)
    assert HistoryEntry.objects.filter(studio=studio).count() == history
    bottle.refresh_from_db()
    assert bottle.on_hand == 10

    assert {drawing(secret, bottle, key="k")().status_code for _ in range(2)} == {201}
    assert (vials(studio), marks(studio)) == (1, 1)
    assert_everything_holds()


def test_a_key_met_by_a_crash_while_others_wait_for_it_still_does_the_work_once(
    secret: str, bottle: Lot, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first through the lock breaks down; one of those that waited does the work, the others get its answer."""
    whole, first = lots_api._shown, Lock()

    def shown(view: Any, lot: Lot) -> Lot:
        if first.acquire(blocking=False):
            raise RuntimeError("broken")
        return whole(view, lot)

    monkeypatch.setattr(lots_api, "_shown", shown)
    outcomes = at_once(lambda: drawing(secret, bottle, key="k")())
    assert sorted(answer.status_code for answer in outcomes) == [201] * (THREADS - 1) + [500]
    assert len({answer.content for answer in outcomes if answer.status_code == 201}) == 1
    assert vials(studio) == 1


# Closing


def closing_of(bench: Workbench, batch: Batch) -> Callable[[], Batch]:
    return partial(close_batch, by=bench.by, now=bench.now, number=batch.number)


def assert_closed_once(batch: Batch) -> None:
    batch.refresh_from_db()
    assert batch.state == BatchState.CLOSED
    poured = Movement.objects.filter(batch=batch.number, studio=batch.studio_id, reason=Reason.WEIGHED_IN)
    assert poured.count() == batch.weighings.count()
    assert Lot.objects.of(batch.studio_id).filter(made_in=batch.number).count() == 1
    assert SealedRecord.objects.of(batch.studio_id).filter(subject="batch", name=batch.number).count() == 1
    assert_everything_holds()


def test_closing_from_eight_threads_makes_one_lot(weighed: Batch, bench: Workbench) -> None:
    outcomes = at_once(closing_of(bench, weighed))
    assert raised(outcomes) == []
    assert len({batch.made_id for batch in outcomes}) == 1
    assert_closed_once(weighed)


def test_closing_over_http_from_eight_clients_without_a_key_makes_one_lot(
    weighed: Batch, secret: str
) -> None:
    outcomes = at_once(lambda: Api(secret).post(f"batches/{weighed.number}/close/"))
    assert {answer.status_code for answer in outcomes} == {200}
    assert len({answer.json()["made"]["number"] for answer in outcomes}) == 1
    assert_closed_once(weighed)


def test_two_batches_closed_at_once_are_two_links_of_one_chain(bench: Workbench) -> None:
    bench.bottle("linalool 100g")
    version = bench.formula("neat", "linalool 1")
    batches = [bench.plan(version, "1") for _ in range(THREADS)]
    for batch in batches:
        bench.reserve(batch)
        bench.weigh_all(batch)
    assert raised(together(*(closing_of(bench, batch) for batch in batches))) == []
    records = SealedRecord.objects.of(bench.by.studio).order_by("sequence")
    assert [record.sequence for record in records] == list(range(1, THREADS + 1))
    assert len(set(Lot.objects.of(bench.by.studio).values_list("number", flat=True))) == THREADS + 1
    assert_everything_holds()


def test_twin_without_the_lock_the_names_of_the_movements_refuse_the_second_closing(
    weighed: Batch, bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(closing, "lock_batch", unlocked_batch(2, [BatchState.WEIGHING]))
    outcomes = at_once(partial(without_sqlites_write_lock, closing_of(bench, weighed)), 2)
    [error] = raised(outcomes)
    assert isinstance(error, IntegrityError if connection.vendor == "postgresql" else OperationalError)
    assert_closed_once(weighed)


def test_a_batch_closed_and_voided_at_once_ends_in_one_way(weighed: Batch, bench: Workbench) -> None:
    outcomes = together(
        closing_of(bench, weighed),
        partial(void_batch, by=bench.by, now=bench.now, number=weighed.number, why="spoiled"),
    )
    assert [type(error) for error in raised(outcomes)] == [WrongState]
    weighed.refresh_from_db()
    moved = Movement.objects.filter(batch=weighed.number, studio=weighed.studio_id).values_list(
        "reason", flat=True
    )
    assert set(moved) == {Reason.WEIGHED_IN if weighed.state == BatchState.CLOSED else Reason.DISCARDED}
    assert_everything_holds()


# The rest


def test_a_batch_is_reserved_by_one_of_eight(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1")
    outcomes = at_once(partial(reserve_batch, by=bench.by, now=bench.now, number=batch.number))
    assert [type(error) for error in raised(outcomes)] == [WrongState] * (THREADS - 1)
    lot.refresh_from_db()
    assert lot.reserved == 1
    assert Claim.objects.filter(lot=lot, state=ClaimState.OPEN).count() == 1


def test_a_movement_is_taken_back_by_one_of_eight(bench: Workbench, bottle: Lot) -> None:
    [received] = Movement.objects.filter(target=bottle)
    outcomes = at_once(
        partial(reverse_movement, by=bench.by, now=bench.now, movement_id=received.id, why="another's bottle")
    )
    assert [type(error) for error in raised(outcomes)] == [NotReversible] * (THREADS - 1)
    bottle.refresh_from_db()
    assert bottle.on_hand == 0
    assert_everything_holds()
