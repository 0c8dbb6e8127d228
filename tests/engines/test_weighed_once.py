"""A weighing is recorded once: its operation names it for ever, whoever sends it again, at once or long after."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection

from batches.actions import weighing
from batches.actions.batch_lock import WrongState
from batches.actions.weighing import AlreadyStruck, OperationReused, Reading, log_weighings, strike_weighing
from batches.models import Batch, BatchState, Weighing
from inventory.models import Claim
from studio.models import Member
from tests.client import Api
from tests.engines.races import THREADS, at_once, unlocked_batch, without_sqlites_write_lock
from tests.together import raised, together
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.usefixtures("committed")


@pytest.fixture
def secret(owner: Member, key_of: Callable[..., str]) -> str:
    return key_of(owner)


@pytest.fixture
def reserved(bench: Workbench) -> Batch:
    bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "2")
    bench.reserve(batch)
    return batch


def logging(bench: Workbench, batch: Batch, *, operation: str | None, mass: str = "1") -> Callable[[], Any]:
    lot = batch.lines.get(position=1).lot.number
    reading = Reading(position=1, lot=lot, mass=Decimal(mass), operation=operation)
    return partial(log_weighings, by=bench.by, now=bench.now, number=batch.number, readings=[reading])


def test_a_weighing_named_by_its_operation_is_recorded_once_by_eight_threads(
    reserved: Batch, bench: Workbench
) -> None:
    outcomes = at_once(logging(bench, reserved, operation="pour 1"))
    assert raised(outcomes) == []
    assert len({weighing.id for [weighing] in outcomes}) == 1
    assert Weighing.objects.filter(batch=reserved).count() == 1
    assert Claim.objects.get(purpose=reserved.number, studio=reserved.studio).poured == 1
    assert_everything_holds()


def test_twin_without_a_name_every_thread_records_a_weighing(reserved: Batch, bench: Workbench) -> None:
    outcomes = at_once(logging(bench, reserved, operation=None, mass="0.25"))
    assert raised(outcomes) == []
    assert Weighing.objects.filter(batch=reserved).count() == THREADS
    assert Claim.objects.get(purpose=reserved.number, studio=reserved.studio).poured == 2


def test_twin_without_the_lock_the_name_itself_refuses_the_second_weighing(
    reserved: Batch, bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(weighing, "lock_batch", unlocked_batch(2, [BatchState.RESERVED]))
    outcomes = at_once(partial(without_sqlites_write_lock, logging(bench, reserved, operation="pour 1")), 2)
    [error] = raised(outcomes)
    assert isinstance(error, IntegrityError if connection.vendor == "postgresql" else OperationalError)
    assert Weighing.objects.filter(batch=reserved).count() == 1


def test_a_weighing_sent_again_after_the_batch_was_closed_is_found_again(
    reserved: Batch, bench: Workbench
) -> None:
    """Its first answer may have been lost; "cannot be weighed any more" would say that it was not recorded."""
    [first] = logging(bench, reserved, operation="pour 1", mass="2")()
    bench.close(reserved)
    [again] = logging(bench, reserved, operation="pour 1", mass="2")()
    assert again == first
    with pytest.raises(WrongState):
        logging(bench, reserved, operation="pour 2")()


def test_the_name_of_another_weighing_is_refused(reserved: Batch, bench: Workbench) -> None:
    logging(bench, reserved, operation="pour 1")()
    with pytest.raises(OperationReused):
        logging(bench, reserved, operation="pour 1", mass="0.5")()
    assert Weighing.objects.filter(batch=reserved).count() == 1


def test_two_batches_that_use_one_name_at_once_record_one_weighing(bench: Workbench, secret: str) -> None:
    bench.bottle("linalool 10g")
    version = bench.formula("neat", "linalool 1")
    batches = [bench.plan(version, "2") for _ in range(2)]
    for batch in batches:
        bench.reserve(batch)
    told = {"position": 1, "lot": batches[0].lines.get().lot.number, "mass": "2", "operation": "pour 1"}
    outcomes = together(
        *(partial(Api(secret).post, f"batches/{b.number}/weighings/", {"weighings": [told]}) for b in batches)
    )
    assert sorted(answer.status_code for answer in outcomes) == [201, 409]
    assert Weighing.objects.of(bench.by.studio).count() == 1
    assert_everything_holds()


def test_eight_batches_that_use_one_name_at_once_are_told_whose_it_is(bench: Workbench) -> None:
    """All have looked the name up before the first of them writes, but for the lock of the lot that they share."""
    bench.bottle("linalool 10g")
    version = bench.formula("neat", "linalool 1")
    batches = [bench.reserve(bench.plan(version, "1")) for _ in range(THREADS)]
    outcomes = together(*(logging(bench, batch, operation="pour 1") for batch in batches))
    assert [type(error) for error in raised(outcomes)] == [OperationReused] * (THREADS - 1)
    assert "already stands for" in str(raised(outcomes)[0])
    assert Weighing.objects.of(bench.by.studio).count() == 1
    assert_everything_holds()


def test_a_name_given_to_two_weighings_of_one_call_is_refused(reserved: Batch, bench: Workbench) -> None:
    reading = logging(bench, reserved, operation="pour 1").keywords["readings"][0]
    with pytest.raises(OperationReused):
        log_weighings(by=bench.by, now=bench.now, number=reserved.number, readings=[reading, reading])
    assert not Weighing.objects.filter(batch=reserved).exists()


def test_a_weighing_is_struck_by_one_of_eight(reserved: Batch, bench: Workbench) -> None:
    [entry] = logging(bench, reserved, operation=None)()
    strike = partial(
        strike_weighing, by=bench.by, now=bench.now, number=reserved.number, weighing_id=entry.id, why="typo"
    )
    outcomes = at_once(strike)
    assert [type(error) for error in raised(outcomes)] == [AlreadyStruck] * (THREADS - 1)
    assert Claim.objects.get(purpose=reserved.number, studio=reserved.studio).poured == 0
    assert_everything_holds()
