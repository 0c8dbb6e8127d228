"""Many clients want the same lots in the same instant: claims never exceed what is there, and nobody meets a deadlock.

Every race has a twin from which the lock is taken away and in which the clients meet between reading and writing; it
shows what the lock is there for, or which constraint stands behind it.
"""

import random
from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from decimal import Decimal
from functools import partial
from threading import Barrier
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.db.models import Sum

from batches.actions import reserving
from batches.actions.reserving import release_stale_batch, reserve_batch, void_batch
from batches.models import Batch, BatchState
from inventory.actions import ledger
from inventory.actions.counting import StillClaimed, count_lot, discard
from inventory.actions.drawing_off import draw_off
from inventory.actions.ledger import NotEnoughOnHand, Shortage
from inventory.models import Claim, ClaimState, Lot
from tests.client import Api
from tests.engines.races import Unlocked, without_sqlites_write_lock
from tests.together import raised, together
from tests.workbench import Workbench, assert_everything_holds

CLIENTS = 16
NAMES = ("linalool", "vanillin", "coumarin", "eugenol", "geraniol", "indole")
BOTTLE = Decimal(10)


@pytest.fixture
def lots(committed: None, bench: Workbench) -> list[Lot]:
    """One bottle of ten grams of each material."""
    return [bench.bottle(f"{name} {BOTTLE}g") for name in NAMES]


def drafts(
    bench: Workbench, rng: random.Random, count: int = CLIENTS, grams: Sequence[int] = (1, 4)
) -> list[Batch]:
    """Batches that each want some grams of a few of the bottles, their lines in random order."""
    planned = []
    for _ in range(count):
        parts = {name: rng.randint(*grams) for name in rng.sample(NAMES, k=rng.randint(2, 4))}
        code = f"accord-{rng.randrange(10**12)}"
        version = bench.formula(code, *(f"{name} {amount}" for name, amount in parts.items()))
        planned.append(bench.plan(version, str(sum(parts.values()))))
    return planned


def reserving_all(bench: Workbench, batches: Iterable[Batch]) -> list[Callable[[], Any]]:
    return [partial(reserve_batch, by=bench.by, now=bench.now, number=batch.number) for batch in batches]


def let_go(bench: Workbench, batches: Iterable[Batch]) -> None:
    """Send reserved batches back to draft as stale, so that the next round finds everything free."""
    long_after = timedelta(days=bench.by.studio.claim_days + 1)
    for batch in Batch.objects.filter(pk__in=[batch.pk for batch in batches]).select_related("by__studio"):
        assert release_stale_batch(now=batch.reserved_at + long_after, batch=batch)


def claimed(lot: Lot) -> Decimal:
    total = Claim.objects.filter(lot=lot, state=ClaimState.OPEN).aggregate(mass=Sum("mass"))["mass"]
    return total or Decimal(0)


def assert_claims_are_covered(lots: Iterable[Lot]) -> None:
    for lot in lots:
        lot.refresh_from_db()
        assert claimed(lot) == lot.reserved <= lot.on_hand


def wants(batch: Batch) -> dict[str, Decimal]:
    return dict(batch.lines.order_by("position").values_list("lot__number").annotate(Sum("target")))


@pytest.mark.parametrize("seed", range(2))
def test_of_many_reservations_at_once_as_many_are_accepted_as_the_lots_cover(
    lots: list[Lot], bench: Workbench, seed: int
) -> None:
    rng = random.Random(seed)
    batches = drafts(bench, rng)
    asked = {batch.number: wants(batch) for batch in batches}
    for _ in range(4):
        rng.shuffle(batches)
        outcomes = together(*reserving_all(bench, batches))

        lost = {b.number: one for b, one in zip(batches, outcomes, strict=True) if isinstance(one, Exception)}
        assert all(type(error) is Shortage for error in lost.values()), lost
        assert 0 < len(lost) < CLIENTS, "the round was no race: everybody, or nobody, was served"
        assert_claims_are_covered(lots)
        free = {lot.number: lot.available for lot in lots}
        for number, error in lost.items():
            for short in error.extra["shortages"]:
                assert asked[number][short["lot"]] == short["wanted"] > short["available"]
            # What is free only shrank in this round, so whoever was turned away could not be served now either.
            assert any(wanted > free[lot] for lot, wanted in asked[number].items())
        won = [batch for batch in batches if batch.number not in lost]
        assert {batch.state for batch in Batch.objects.filter(pk__in=[b.pk for b in won])} == {
            BatchState.RESERVED
        }
        assert_everything_holds()
        let_go(bench, won)


@pytest.mark.parametrize("seed", range(2))
def test_reserving_races_with_everything_else_that_makes_a_lot_scarcer(
    lots: list[Lot], bench: Workbench, seed: int
) -> None:
    """Reservations, draws, discards, counts, voids, closings and pours beyond the target, all at once, on the same lots."""
    rng = random.Random(100 + seed)
    acting = {"by": bench.by, "now": bench.now}
    voided, poured, closed = (drafts(bench, rng, count=2, grams=(1, 1)) for _ in range(3))
    for batch in [*voided, *poured, *closed]:
        bench.reserve(batch)
    for batch in closed:
        bench.weigh_all(batch)
    bench.weigh(voided[0], 1, "0.5")
    wanting = drafts(bench, rng, count=5)
    numbers = [rng.choice(lots).number for _ in range(5)]
    works = [
        *reserving_all(bench, wanting),
        *(partial(void_batch, **acting, number=batch.number, why="not wanted") for batch in voided),
        *(partial(bench.weigh, batch, 1, "3.5") for batch in poured),
        *(partial(bench.close, batch) for batch in closed),
        *(partial(draw_off, **acting, number=number, mass=Decimal(2)) for number in numbers[:2]),
        *(partial(discard, **acting, number=number, mass=Decimal(1), why="old") for number in numbers[2:4]),
        partial(count_lot, **acting, number=numbers[4], gross=Decimal(6), tare=Decimal(0)),
    ]
    assert len(works) == CLIENTS
    rng.shuffle(works)

    outcomes = together(*works)

    assert {type(error) for error in raised(outcomes)} <= {Shortage, StillClaimed, NotEnoughOnHand}, outcomes
    for lot in lots:
        lot.refresh_from_db()
        assert lot.on_hand >= 0
        assert lot.reserved == claimed(lot)
    assert_everything_holds()


def test_over_http_the_losers_are_told_what_is_short(lots: list[Lot], bench: Workbench, key_of: Any) -> None:
    rng = random.Random(7)
    secret = key_of(bench.by)
    batches = drafts(bench, rng)
    for _ in range(2):
        outcomes = together(
            *(partial(Api(secret).post, f"batches/{batch.number}/reserve/") for batch in batches)
        )

        assert raised(outcomes) == []
        statuses = [answer.status_code for answer in outcomes]
        assert set(statuses) == {200, 409}, statuses
        for batch, answer in zip(batches, outcomes, strict=True):
            if answer.status_code == 409:
                assert_tells_what_is_short(answer, wants(batch))
        assert_claims_are_covered(lots)
        assert_everything_holds()
        let_go(bench, [b for b, answer in zip(batches, outcomes, strict=True) if answer.status_code == 200])


def assert_tells_what_is_short(answer: Any, wanted: dict[str, Decimal]) -> None:
    problem = answer.json()
    assert answer["Content-Type"] == "application/problem+json"
    assert (problem["type"], problem["status"]) == ("/problems/shortage", 409)
    assert problem["shortages"]
    for short in problem["shortages"]:
        assert set(short) == {"lot", "wanted", "available"}
        assert Decimal(short["wanted"]) == wanted[short["lot"]] > Decimal(short["available"])
        assert short["lot"] in problem["detail"]


def test_drafting_and_reserving_in_one_request_leaves_no_draft_of_a_loser(
    lots: list[Lot], bench: Workbench, key_of: Any
) -> None:
    secret = key_of(bench.by)
    bench.formula("wanted-by-all", "linalool 3", "vanillin 1")
    body = {"formula": "wanted-by-all", "mass": "4", "reserve": True}

    outcomes = together(*[partial(Api(secret).post, "batches/", body)] * CLIENTS)

    assert raised(outcomes) == []
    statuses = [answer.status_code for answer in outcomes]
    assert set(statuses) == {201, 409}, [answer.content for answer in outcomes]
    assert statuses.count(201) == Batch.objects.filter(studio=bench.by.studio).count()
    assert_claims_are_covered(lots)
    assert_everything_holds()


def test_one_last_gram_goes_to_one_of_sixteen(committed: None, bench: Workbench) -> None:
    lot = bench.bottle("linalool 1g")
    version = bench.formula("last-gram", "linalool 1")
    batches = [bench.plan(version, "1") for _ in range(CLIENTS)]
    outcomes = together(*reserving_all(bench, batches))
    assert sum(isinstance(outcome, Batch) for outcome in outcomes) == 1
    assert {type(error) for error in raised(outcomes)} == {Shortage}
    assert_claims_are_covered([lot])


def test_draws_at_once_never_take_more_than_there_is(committed: None, bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    draw = partial(draw_off, by=bench.by, now=bench.now, number=lot.number, mass=Decimal(3))
    outcomes = together(*[draw] * 8)
    assert sum(isinstance(outcome, Lot) for outcome in outcomes) == 3
    assert {type(error) for error in raised(outcomes)} == {Shortage}
    lot.refresh_from_db()
    assert lot.on_hand == 1
    assert_everything_holds()


def test_twin_without_the_lock_two_claims_take_the_same_gram(
    committed: None, bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PostgreSQL then oversells; SQLite refuses the second writer, but with an error that no client could use."""
    lot = bench.bottle("linalool 1g")
    version = bench.formula("last-gram", "linalool 1")
    batches = [bench.plan(version, "1") for _ in range(2)]
    monkeypatch.setattr(reserving, "lock_lots", Unlocked(2))

    outcomes = together(
        *(partial(without_sqlites_write_lock, work) for work in reserving_all(bench, batches))
    )

    lot.refresh_from_db()
    if connection.vendor == "postgresql":
        assert raised(outcomes) == []
        assert (lot.on_hand, lot.reserved) == (1, 2)
    else:
        [error] = raised(outcomes)
        assert isinstance(error, OperationalError)
        assert lot.reserved == 1


def test_twin_without_the_lock_the_check_constraint_stops_a_negative_balance(
    committed: None, bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = bench.bottle("linalool 10g")
    monkeypatch.setattr(ledger, "lock_lots", Unlocked(2))
    draw = partial(draw_off, by=bench.by, now=bench.now, number=lot.number, mass=Decimal(7))

    outcomes = together(*[partial(without_sqlites_write_lock, draw)] * 2)

    [error] = raised(outcomes)
    assert isinstance(error, IntegrityError if connection.vendor == "postgresql" else OperationalError)
    lot.refresh_from_db()
    assert lot.on_hand == 3
    assert_everything_holds()


def test_twin_locked_in_the_order_of_their_lines_two_batches_wait_for_each_other(
    committed: None, bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Why the lots are locked in id order, whatever the order of the lines. SQLite has one writer and no such circle."""
    first, second = bench.bottle("linalool 10g"), bench.bottle("vanillin 10g")
    meeting = Barrier(2)

    def lock(order: Sequence[Lot]) -> None:
        with transaction.atomic():
            for lot in order:
                list(Lot.objects.filter(pk=lot.pk).select_for_update(no_key=True))
                if connection.vendor == "postgresql" and lot is order[0]:
                    meeting.wait(timeout=20)

    crossed = together(partial(lock, [first, second]), partial(lock, [second, first]))
    assert ["deadlock" in str(error) for error in raised(crossed)] == (
        [True] if connection.vendor == "postgresql" else []
    )


def test_a_claim_that_was_let_go_can_be_taken_by_another_at_once(lots: list[Lot], bench: Workbench) -> None:
    """Releasing and reserving meet: the second is served or turned away, and the sums are right either way."""
    version = bench.formula("whole-bottle", "linalool 10")
    held, waiting = bench.plan(version, "10"), bench.plan(version, "10")
    bench.reserve(held)
    held = Batch.objects.select_related("by__studio").get(pk=held.pk)
    later = bench.now + timedelta(days=30)

    released, reserved = together(
        partial(release_stale_batch, now=later, batch=held), *reserving_all(bench, [waiting])
    )

    assert released is True
    assert isinstance(reserved, (Batch, Shortage))
    assert_claims_are_covered(lots)
    assert_everything_holds()
