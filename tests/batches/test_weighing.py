"""Logging what was really weighed: the physical truth is taken down, a slip is asked for twice, a mistake stays readable."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from batches.actions.batch_lock import WrongState
from batches.actions.weighing import (
    AlreadyStruck,
    OutsideTolerance,
    Reading,
    WrongLot,
    log_weighings,
    strike_weighing,
)
from batches.models import Batch, BatchState, ReadingSource, Weighing
from batches.queries.batches import batch_in_hand, sealed_record
from inventory.actions.holding import hold_lots
from inventory.actions.ledger import LotOnHold
from inventory.actions.lots import LotExpired
from inventory.actions.places import check_balance
from inventory.models import Lot, Movement
from inventory.queries.shelf import claims_on
from studio.kernel.errors import Invalid
from studio.kernel.moments import InTheFuture
from studio.models import HistoryEntry
from tests.workbench import Workbench, assert_everything_holds


@pytest.fixture
def linalool(bench: Workbench) -> Lot:
    return bench.bottle("linalool 10g")


@pytest.fixture
def ethanol(bench: Workbench) -> Lot:
    return bench.bottle("ethanol 100g")


@pytest.fixture
def batch(bench: Workbench, linalool: Lot, ethanol: Lot) -> Batch:
    """One gram of linalool in ten, reserved."""
    return bench.reserve(bench.plan(bench.formula("tenth", "linalool 1", "ethanol 9"), "10"))


def strike(bench: Workbench, batch: Batch, weighing: Weighing, why: str = "read the wrong line") -> Weighing:
    return strike_weighing(by=bench.by, now=bench.now, number=batch.number, weighing_id=weighing.id, why=why)


def log(bench: Workbench, batch: Batch, *readings: Reading, **details: Any) -> list[Weighing]:
    return log_weighings(by=bench.by, now=bench.now, number=batch.number, readings=readings, **details)


def line_states(bench: Workbench, batch: Batch) -> list[tuple[str, Decimal]]:
    in_hand = batch_in_hand(studio=bench.by.studio, number=batch.number)
    return [(line.state, line.weighed) for line in in_hand.lines]


# Recording


def test_the_first_weighing_starts_the_batch_and_moves_nothing_yet(
    bench: Workbench, batch: Batch, linalool: Lot
) -> None:
    weighing = bench.weigh(batch, 1, "0.5")
    batch.refresh_from_db()
    linalool.refresh_from_db()
    assert (batch.state, batch.weighing_at) == (BatchState.WEIGHING, bench.now)
    assert (weighing.mass, weighing.by, weighing.recorded_at) == (Decimal("0.5"), bench.by, bench.now)
    assert (linalool.on_hand, linalool.reserved) == (10, 1)
    assert not Movement.objects.of(bench.by.studio).filter(batch=batch.number).exists()


def test_pours_into_one_line_add_up_and_the_bench_says_what_is_left(bench: Workbench, batch: Batch) -> None:
    assert line_states(bench, batch) == [("open", 0), ("open", 0)]
    bench.weigh(batch, 1, "0.4")
    bench.weigh(batch, 1, "0.4")
    assert line_states(bench, batch)[0] == ("begun", Decimal("0.8"))
    bench.weigh(batch, 1, "0.2")
    assert line_states(bench, batch)[0] == ("done", 1)
    bench.weigh(batch, 1, "0.5")
    assert line_states(bench, batch)[0] == ("over", Decimal("1.5"))


def test_several_weighings_are_recorded_all_or_none(bench: Workbench, batch: Batch, linalool: Lot) -> None:
    good = Reading(position=1, lot=linalool.number, mass=Decimal(1))
    with pytest.raises(Invalid) as refusal:
        log(bench, batch, good, Reading(position=7, lot=linalool.number, mass=Decimal(1)))
    assert set(refusal.value.errors) == {"weighings.1.position"}
    assert not Weighing.objects.filter(batch=batch).exists()


def test_the_lot_in_hand_must_be_the_one_that_the_line_takes(
    bench: Workbench, batch: Batch, linalool: Lot, ethanol: Lot
) -> None:
    with pytest.raises(WrongLot) as refusal:
        log(bench, batch, Reading(position=1, lot=ethanol.number, mass=Decimal(1)))
    assert refusal.value.extra == {"wanted": linalool.number, "in_hand": ethanol.number}
    assert not Weighing.objects.filter(batch=batch).exists()


def test_a_weighing_typed_in_later_happened_then_and_was_recorded_now(bench: Workbench, batch: Batch) -> None:
    then = bench.now - timedelta(hours=3)
    weighing = bench.weigh(batch, 1, "1", at=then)
    assert (weighing.at, weighing.recorded_at) == (then, bench.now)
    with pytest.raises(InTheFuture):
        bench.weigh(batch, 2, "9", at=bench.now + timedelta(hours=1))


def test_a_held_lot_is_not_weighed(bench: Workbench, batch: Batch, linalool: Lot) -> None:
    hold_lots(by=bench.by, now=bench.now, lot_ids=[linalool.id], why="cloudy")
    with pytest.raises(LotOnHold, match="cloudy"):
        bench.weigh(batch, 1, "1")
    assert bench.weigh(batch, 2, "9").mass == 9


def test_only_a_batch_that_holds_claims_is_weighed(bench: Workbench, batch: Batch) -> None:
    draft = bench.plan(bench.formula("other", "linalool 1"), "1")
    with pytest.raises(WrongState, match="yet"):
        bench.weigh(draft, 1, "1")
    bench.weigh_all(batch)
    bench.close(batch)
    with pytest.raises(WrongState, match="any more"):
        bench.weigh(batch, 1, "1")


# Past its day


@pytest.fixture
def passing(bench: Workbench) -> tuple[Batch, Lot]:
    """Reserved while the lot was good; the day of the lot is today, and the clock then goes on."""
    lot = bench.bottle("citral 10g", expires_on=bench.now.date())
    batch = bench.reserve(bench.plan(bench.formula("sharp", "citral 1"), "2"))
    bench.later(days=1)
    return batch, lot


def test_a_lot_that_expired_since_it_was_reserved_is_weighed_only_with_a_reason(
    bench: Workbench, passing: tuple[Batch, Lot]
) -> None:
    batch, lot = passing
    with pytest.raises(LotExpired, match=lot.number):
        bench.weigh(batch, 1, "1")
    assert not Weighing.objects.filter(batch=batch).exists()
    first = bench.weigh(batch, 1, "1", expired_reason="smelled and found good")
    second = bench.weigh(batch, 1, "1")
    assert [first.expired_reason, second.expired_reason] == ["smelled and found good"] * 2
    bench.close(batch)
    record = sealed_record(studio=bench.by.studio, number=batch.number)["record"]
    [line] = record["lines"]
    assert [one["expired_reason"] for one in line["weighings"]] == ["smelled and found good"] * 2
    moved = Movement.objects.of(bench.by.studio).filter(batch=batch.number)
    assert {movement.why for movement in moved} == {"smelled and found good"}


def test_what_was_poured_before_its_day_and_typed_in_later_needs_no_reason(
    bench: Workbench, passing: tuple[Batch, Lot]
) -> None:
    batch, _ = passing
    weighing = bench.weigh(batch, 1, "2", at=bench.now - timedelta(days=1), expired_reason="not needed")
    assert weighing.expired_reason == ""


# More than planned


@pytest.mark.parametrize("typed", ["10", "1000", "1.050001"])
def test_a_typed_weight_beyond_the_band_is_asked_for_twice(
    bench: Workbench, batch: Batch, typed: str
) -> None:
    batch.tolerance = Decimal("0.05")
    batch.save(update_fields=["tolerance"])
    with pytest.raises(OutsideTolerance) as refusal:
        bench.weigh(batch, 1, typed, confirmed=False)
    assert refusal.value.extra["largest"] == Decimal("1.05")
    assert not Weighing.objects.filter(batch=batch).exists()
    assert bench.weigh(batch, 1, typed, confirmed=True).mass == Decimal(typed)


@pytest.mark.parametrize(("tolerance", "largest"), [("0.0000006", "1.000001"), ("0.0000004", "1.000000")])
def test_the_band_that_is_asked_about_is_the_one_that_is_shown(
    bench: Workbench, batch: Batch, tolerance: str, largest: str
) -> None:
    """Bounds are shown to the microgram, and what is shown as the most that may be poured is not asked about."""
    batch.tolerance = Decimal(tolerance)
    batch.save(update_fields=["tolerance"])
    shown = batch_in_hand(studio=bench.by.studio, number=batch.number).lines[0].largest
    assert shown == Decimal(largest)
    with pytest.raises(OutsideTolerance) as refusal:
        bench.weigh(batch, 1, str(shown + Decimal("0.000001")), confirmed=False)
    assert refusal.value.extra["largest"] == shown
    assert bench.weigh(batch, 1, str(shown), confirmed=False).mass == shown


def test_the_band_holds_for_the_line_and_not_for_the_pour(bench: Workbench, batch: Batch) -> None:
    bench.weigh(batch, 1, "0.9", confirmed=False)
    with pytest.raises(OutsideTolerance) as refusal:
        bench.weigh(batch, 1, "0.9", confirmed=False)
    assert refusal.value.extra["would_hold"] == Decimal("1.8")


def test_what_the_balance_sent_is_not_asked_for_twice(bench: Workbench, batch: Batch) -> None:
    sent = {"source": ReadingSource.BALANCE, "reading": "ST,GS,+   1.800 g", "confirmed": False}
    weighing = bench.weigh(batch, 1, "1.8", **sent)
    assert (weighing.source, weighing.reading) == (ReadingSource.BALANCE, "ST,GS,+   1.800 g")


def test_an_overpour_claims_what_it_took_and_the_other_batch_sees_its_shortfall(
    bench: Workbench, batch: Batch, linalool: Lot
) -> None:
    other = bench.reserve(bench.plan(bench.formula("neat", "linalool 1"), "8"))
    bench.weigh(batch, 1, "4")
    linalool.refresh_from_db()
    assert (linalool.on_hand, linalool.reserved, linalool.available) == (10, 12, 0)
    assert {one.claim.purpose: one.short for one in claims_on([linalool])} == {
        batch.number: 0,
        other.number: 2,
    }
    [short] = batch_in_hand(studio=bench.by.studio, number=other.number).short_claims
    assert short.short == 2
    assert batch_in_hand(studio=bench.by.studio, number=batch.number).short_claims == []
    assert_everything_holds()


def test_more_than_the_book_says_is_there_is_recorded_too(
    bench: Workbench, batch: Batch, linalool: Lot
) -> None:
    assert bench.weigh(batch, 1, "11").mass == 11
    linalool.refresh_from_db()
    assert (linalool.on_hand, linalool.reserved) == (10, 11)
    assert_everything_holds()


# The balance


def test_the_uncertainty_of_a_weighing_is_that_of_its_balance(bench: Workbench, batch: Batch) -> None:
    """u² = s² + 2(d/√12)² + 2(l/√3)² (EURACHEM/CITAC QUAM, weighing by difference), by hand for d = s = 1 mg, l = 2 mg:
    1 + 1/6 + 8/3 = 23/6, so u = 1.957890 mg."""
    reading = Reading(position=1, lot=batch.lines.get(position=1).lot.number, mass=Decimal(1))
    [weighing] = log(bench, batch, reading, balance=bench.balance())
    assert weighing.mass_u == Decimal("0.001958")


def test_without_a_balance_the_uncertainty_is_not_known(bench: Workbench, batch: Batch) -> None:
    assert bench.weigh(batch, 1, "1").mass_u is None


def test_the_record_names_the_last_check_that_the_balance_passed(bench: Workbench, batch: Batch) -> None:
    balance = bench.balance()
    checks = []
    for reading in ("100", "100.001", "103"):
        check, _ = check_balance(
            by=bench.by,
            now=bench.now,
            balance=balance,
            reference=Decimal(100),
            reading=Decimal(reading),
            allowed_error=Decimal("0.005"),
        )
        checks.append(check)
        bench.later(minutes=5)
    assert [check.passed for check in checks] == [True, True, False]
    reading = Reading(position=1, lot=batch.lines.get(position=1).lot.number, mass=Decimal(1))
    [weighing] = log(bench, batch, reading, balance=balance)
    assert weighing.balance_check == checks[1]


def test_more_than_the_balance_carries_cannot_have_been_weighed_on_it(bench: Workbench, batch: Batch) -> None:
    reading = Reading(position=2, lot=batch.lines.get(position=2).lot.number, mass=Decimal("9.000001"))
    with pytest.raises(Invalid) as refusal:
        log(bench, batch, reading, balance=bench.balance(capacity="9"))
    assert set(refusal.value.errors) == {"weighings.0.mass"}


# Correcting


def test_a_struck_weighing_stays_readable_and_counts_no_more(
    bench: Workbench, batch: Batch, linalool: Lot
) -> None:
    wrong = bench.weigh(batch, 1, "4")
    struck = strike(bench, batch, wrong)
    assert (struck.struck_at, struck.struck_by, struck.strike_reason) == (
        bench.now,
        bench.by,
        "read the wrong line",
    )
    assert Weighing.objects.get(pk=wrong.pk).mass == 4
    linalool.refresh_from_db()
    assert linalool.reserved == 1
    bench.weigh(batch, 1, "1")
    assert line_states(bench, batch)[0] == ("done", 1)
    entry = HistoryEntry.objects.get(
        studio=bench.by.studio, subject="batch", name=batch.number, verb="weighing struck"
    )
    assert entry.changes == {"mass": ["4.000000", None]}
    assert_everything_holds()


def test_of_two_overpours_the_claim_follows_what_still_stands(
    bench: Workbench, batch: Batch, linalool: Lot
) -> None:
    first, _ = bench.weigh(batch, 1, "3"), bench.weigh(batch, 1, "2")
    linalool.refresh_from_db()
    assert linalool.reserved == 5
    strike(bench, batch, first)
    linalool.refresh_from_db()
    assert linalool.reserved == 2


def test_a_weighing_is_struck_once(bench: Workbench, batch: Batch) -> None:
    weighing = bench.weigh(batch, 1, "4")
    strike(bench, batch, weighing)
    with pytest.raises(AlreadyStruck, match="read the wrong line"):
        strike(bench, batch, weighing, why="another reason")


def test_after_closing_nothing_is_struck_any_more(bench: Workbench, batch: Batch) -> None:
    weighing = bench.weigh(batch, 1, "1")
    bench.weigh(batch, 2, "9")
    bench.close(batch)
    with pytest.raises(WrongState):
        strike(bench, batch, weighing)
