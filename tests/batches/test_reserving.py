"""Reserving a planned batch, giving it up, and letting stale claims go."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.batch_lock import WrongState
from batches.actions.reserving import (
    NothingPlanned,
    release_stale_batch,
    reserve_batch,
    stale_batches,
    void_batch,
)
from batches.actions.weigh_plans import AlreadyPoured, plan_again
from batches.actions.weighing import strike_weighing
from batches.models import Batch, BatchState
from inventory.actions.drawing_off import draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.ledger import LotOnHold, Shortage
from inventory.actions.lots import LotExpired
from inventory.models import Claim, ClaimState, Lot, Movement, Reason
from studio.kernel.errors import StaleEdition
from studio.models import Member
from studio.models.scoped import NoSuchThing
from tests.workbench import Workbench, assert_everything_holds


def half_and_half(bench: Workbench, grams: str = "10") -> Batch:
    """A batch of as much linalool as vanillin."""
    return bench.plan(bench.formula(f"half-{Batch.objects.count()}", "linalool 1", "vanillin 1"), grams)


def void(bench: Workbench, batch: Batch) -> Batch:
    return void_batch(by=bench.by, now=bench.now, number=batch.number, why="spoiled")


@pytest.fixture
def linalool(bench: Workbench) -> Lot:
    return bench.bottle("linalool 10g")


@pytest.fixture
def vanillin(bench: Workbench) -> Lot:
    return bench.bottle("vanillin 10g")


def reload(*lots: Lot) -> None:
    for lot in lots:
        lot.refresh_from_db()


# Claiming


def test_reserving_claims_what_the_plan_takes_of_each_lot(
    bench: Workbench, linalool: Lot, vanillin: Lot
) -> None:
    batch = bench.reserve(half_and_half(bench))
    reload(linalool, vanillin)
    assert (batch.state, batch.reserved_at) == (BatchState.RESERVED, bench.now)
    assert [(lot.reserved, lot.available, lot.on_hand) for lot in (linalool, vanillin)] == [(5, 5, 10)] * 2
    assert_everything_holds()


def test_lines_that_take_from_one_lot_make_one_claim(bench: Workbench, linalool: Lot) -> None:
    batch = bench.plan(bench.formula("twice", "linalool 1", "linalool 2"), "6")
    bench.reserve(batch)
    [claim] = Claim.objects.of(bench.by.studio).filter(purpose=batch.number)
    assert (claim.lot, claim.mass) == (linalool, 6)


def test_a_batch_is_claimed_in_full_or_not_at_all(bench: Workbench, linalool: Lot, vanillin: Lot) -> None:
    first, second = half_and_half(bench), half_and_half(bench)
    draw_off(by=bench.by, now=bench.now, number=vanillin.number, mass=Decimal("5.5"))
    with pytest.raises(Shortage) as refusal:
        bench.reserve(first)
    assert refusal.value.extra["shortages"] == [
        {"lot": vanillin.number, "wanted": 5, "available": Decimal("4.5")}
    ]
    reload(linalool, vanillin)
    assert (linalool.reserved, vanillin.reserved) == (0, 0)
    assert {batch.state for batch in Batch.objects.of(bench.by.studio)} == {BatchState.DRAFT}
    assert second.lines.count() == 2


def test_every_lot_that_falls_short_is_named(bench: Workbench, linalool: Lot, vanillin: Lot) -> None:
    batch = half_and_half(bench, "14")
    for lot in (linalool, vanillin):
        draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(4))
    with pytest.raises(Shortage) as refusal:
        bench.reserve(batch)
    assert [short["lot"] for short in refusal.value.extra["shortages"]] == [linalool.number, vanillin.number]
    assert linalool.number in refusal.value.message
    assert vanillin.number in refusal.value.message


def test_the_last_gram_is_claimed_once(bench: Workbench, linalool: Lot) -> None:
    version = bench.formula("neat", "linalool 1")
    first, second = bench.plan(version, "10"), bench.plan(version, "10")
    bench.reserve(first)
    with pytest.raises(Shortage):
        bench.reserve(second)


def test_claims_go_to_the_lot_that_expires_first(bench: Workbench) -> None:
    today = bench.now.date()
    later = bench.bottle("linalool 10g", expires_on=today + timedelta(days=90))
    sooner = bench.bottle("linalool 10g", expires_on=today + timedelta(days=30))
    never = bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    reload(later, sooner, never)
    assert (sooner.reserved, later.reserved, never.reserved) == (4, 0, 0)


def test_of_lots_that_expire_together_claims_go_to_the_open_one(bench: Workbench) -> None:
    closed, opened = bench.bottle("linalool 10g"), bench.bottle("linalool 10g")
    draw_off(by=bench.by, now=bench.now, number=opened.number, mass=Decimal(1))
    bench.reserve(bench.plan(bench.formula("neat", "linalool 1"), "4"))
    reload(closed, opened)
    assert (opened.reserved, closed.reserved) == (4, 0)


def test_a_held_lot_is_not_claimed(bench: Workbench, linalool: Lot, vanillin: Lot) -> None:
    batch = half_and_half(bench)
    hold_lots(by=bench.by, now=bench.now, lot_ids=[vanillin.id], why="cloudy")
    with pytest.raises(LotOnHold, match=vanillin.number):
        bench.reserve(batch)
    reload(linalool)
    assert linalool.reserved == 0


def test_an_expired_lot_is_claimed_only_with_a_reason_which_stands_on_its_line(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g", expires_on=bench.now.date() + timedelta(days=1))
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.later(days=2)
    with pytest.raises(LotExpired, match=lot.number):
        bench.reserve(batch)
    with pytest.raises(LotExpired):
        bench.reserve(batch, expired_reasons={"26-9999-X": "another lot's reason"})
    bench.reserve(batch, expired_reasons={lot.number: "smelled and found good"})
    assert batch.lines.get().expired_reason == "smelled and found good"


# States


def test_a_batch_is_reserved_once(bench: Workbench, linalool: Lot) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    with pytest.raises(WrongState) as refusal:
        bench.reserve(batch)
    assert refusal.value.extra["state"] == "reserved"
    reload(linalool)
    assert linalool.reserved == 4


def test_a_batch_without_a_plan_cannot_be_reserved(bench: Workbench) -> None:
    bench.material("linalool")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    with pytest.raises(NothingPlanned):
        bench.reserve(batch)


def test_a_batch_changed_since_it_was_read_is_not_reserved(bench: Workbench, linalool: Lot) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    batch.refresh_from_db()
    with pytest.raises(StaleEdition):
        bench.reserve(batch, expected=batch.edition + 1)
    bench.reserve(batch, expected=batch.edition)


def test_a_batch_of_another_studio_does_not_exist(bench: Workbench, linalool: Lot, stranger: Member) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    with pytest.raises(NoSuchThing):
        reserve_batch(by=stranger, now=bench.now, number=batch.number)


def test_the_statements_of_reserving_do_not_grow_with_the_lots(bench: Workbench) -> None:
    names = [f"odorant {letter}" for letter in "abcdefghijklmnopqrstuvwxyz"]
    for name in names:
        bench.bottle(f"{name} 10g")
    counts = set()
    for count in (2, 26):
        batch = bench.plan(bench.formula(f"of {count}", *(f"{name} 1" for name in names[:count])), "2.6")
        with CaptureQueriesContext(connection) as queries:
            bench.reserve(batch)
        counts.add(len(queries))
    assert len(counts) == 1, counts


# Giving up


def test_a_voided_batch_lets_go_of_its_claims(bench: Workbench, linalool: Lot, vanillin: Lot) -> None:
    batch = half_and_half(bench)
    bench.reserve(batch)
    voided = void(bench, batch)
    reload(linalool, vanillin)
    assert (voided.state, voided.ended_at, voided.ended_why) == (BatchState.VOID, bench.now, "spoiled")
    assert (linalool.reserved, vanillin.reserved) == (0, 0)
    assert {claim.state for claim in Claim.objects.of(bench.by.studio).filter(purpose=batch.number)} == {
        ClaimState.RELEASED
    }
    assert_everything_holds()


def test_what_was_weighed_into_a_voided_batch_is_discarded_and_not_lost(
    bench: Workbench, linalool: Lot, vanillin: Lot
) -> None:
    batch = half_and_half(bench)
    bench.reserve(batch)
    bench.weigh(batch, 1, "4.2")
    void(bench, batch)
    reload(linalool, vanillin)
    [movement] = Movement.objects.of(bench.by.studio).filter(batch=batch.number)
    assert (movement.reason, movement.mass, movement.target) == (Reason.DISCARDED, Decimal("4.2"), None)
    assert sorted([linalool.on_hand, vanillin.on_hand]) == [Decimal("5.8"), 10]
    assert {
        claim.state: claim.settled for claim in Claim.objects.of(bench.by.studio).filter(purpose=batch.number)
    } == {
        ClaimState.SETTLED: Decimal("4.2"),
        ClaimState.RELEASED: 0,
    }
    assert_everything_holds()


def test_a_voided_batch_that_poured_more_than_the_book_held_counts_the_difference_up_first(
    bench: Workbench, linalool: Lot
) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "9")
    bench.reserve(batch)
    bench.weigh(batch, 1, "10.5")
    void(bench, batch)
    moved = (
        Movement.objects.of(bench.by.studio)
        .filter(batch=batch.number)
        .order_by("id")
        .values_list("reason", "mass")
    )
    assert list(moved) == [(Reason.COUNTED_UP, Decimal("0.5")), (Reason.DISCARDED, Decimal("10.5"))]
    reload(linalool)
    assert linalool.on_hand == 0
    assert_everything_holds()


@pytest.mark.parametrize("end", ["closed", "void"])
def test_an_ended_batch_cannot_be_voided(bench: Workbench, linalool: Lot, end: str) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1")
    bench.reserve(batch)
    bench.weigh_all(batch)
    if end == "closed":
        bench.close(batch)
    else:
        void(bench, batch)
    with pytest.raises(WrongState, match="any more"):
        void(bench, batch)


# Stale claims


def stale(bench: Workbench) -> list[Batch]:
    return stale_batches(studio=bench.by.studio, now=bench.now)


def test_a_claim_without_a_weighing_is_let_go_after_the_days_that_the_studio_chose(
    bench: Workbench, linalool: Lot
) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    bench.later(days=bench.by.studio.claim_days)
    assert stale(bench) == []
    bench.later(seconds=1)
    [found] = stale(bench)
    assert release_stale_batch(now=bench.now, batch=found)
    reload(linalool, batch)
    assert (batch.state, batch.reserved_at, linalool.reserved) == (BatchState.DRAFT, None, 0)
    assert_everything_holds()
    bench.reserve(batch)


def test_a_batch_that_is_being_weighed_is_not_stale(bench: Workbench, linalool: Lot) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    bench.weigh(batch, 1, "1")
    bench.later(days=1000)
    assert stale(bench) == []


def test_a_batch_whose_weighings_were_all_struck_goes_stale_from_the_striking(
    bench: Workbench, linalool: Lot
) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    weighings = [bench.weigh(batch, 1, "1") for _ in range(2)]
    bench.later(days=1000)
    for weighing in weighings:
        strike_weighing(
            by=bench.by, now=bench.now, number=batch.number, weighing_id=weighing.id, why="another batch"
        )
    bench.later(days=bench.by.studio.claim_days)
    assert stale(bench) == []
    bench.later(seconds=1)
    [found] = stale(bench)
    assert release_stale_batch(now=bench.now, batch=found)
    reload(linalool, batch)
    assert (batch.state, batch.weighing_at, linalool.reserved) == (BatchState.DRAFT, None, 0)
    assert_everything_holds()
    with pytest.raises(AlreadyPoured, match="struck through"):
        plan_again(by=bench.by, now=bench.now, number=batch.number)
    bench.reserve(batch)
    bench.weigh(batch, 1, "4")
    bench.close(batch)
    assert_everything_holds()


def test_a_batch_that_moved_on_since_it_was_found_stale_keeps_its_claims(
    bench: Workbench, linalool: Lot
) -> None:
    batch = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    bench.later(days=1000)
    [found] = stale(bench)
    bench.weigh(batch, 1, "1")
    assert not release_stale_batch(now=bench.now, batch=found)
    reload(linalool)
    assert linalool.reserved == 4


def test_a_batch_reserved_again_since_it_was_found_stale_keeps_its_new_claims(
    bench: Workbench, linalool: Lot
) -> None:
    batch: Any = bench.plan(bench.formula("neat", "linalool 1"), "4")
    bench.reserve(batch)
    bench.later(days=1000)
    [found] = stale(bench)
    assert release_stale_batch(now=bench.now, batch=found)
    bench.reserve(batch)
    assert not release_stale_batch(now=bench.now, batch=found)
