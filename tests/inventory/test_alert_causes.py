"""What gives reason for an alert on the shelf: told at once where a verb knows it, else found by the regular run."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.counting import count_lot, discard
from inventory.actions.holding import hold_lots, release_lot
from inventory.actions.lending import lend, take_back
from inventory.actions.places import check_balance
from studio.actions.alerts import keep_alerts
from studio.queries.alerts import causes_in, open_alerts

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


FORESEEN = {"below-par", "runs-short"}
"""What the remake plan foresees has tests of its own."""


def found_in(bench):
    """The causes on the shelf itself."""
    found = causes_in(bench.by.studio, bench.now)
    return {kind: causes for kind, causes in found.items() if kind not in FORESEEN}


def run(bench):
    studio = bench.by.studio
    return keep_alerts(studio=studio, at=bench.now, known=open_alerts(studio), found=found_in(bench))


def sentences(bench):
    return [alert.sentence for alert in open_alerts(bench.by.studio)]


def reserved(bench, mass="4"):
    bench.formulas = getattr(bench, "formulas", 0) + 1
    batch = bench.plan(bench.formula(f"neat-{bench.formulas}", "linalool 1"), mass)
    return bench.reserve(batch)


def assert_the_run_agrees(bench):
    """What a verb told at once is what the run finds: it changes nothing."""
    kept = run(bench)
    assert (kept.raised, kept.changed, kept.closed) == (0, 0, 0)


def test_a_lot_put_on_hold_is_told_at_once_and_its_release_closes_the_alert(bench):
    lot = bench.bottle("oakmoss 5g")
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.pk], why="smells of phenol")
    assert sentences(bench) == [
        f"Lot {lot.number}, oakmoss, is on hold since 1 March 2026: smells of phenol."
    ]
    assert_the_run_agrees(bench)
    release_lot(by=bench.by, now=bench.now, lot_id=lot.pk, why="it was the cap")
    assert sentences(bench) == []


def test_a_hold_on_what_is_claimed_says_how_much_and_presses(bench):
    lot = bench.bottle("linalool 5g")
    reserved(bench)
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.pk], why="cloudy.")
    [alert] = open_alerts(bench.by.studio)
    assert alert.sentence.endswith("cloudy. 4 g of it are claimed and cannot be weighed.")
    assert alert.urgency == 1
    assert_the_run_agrees(bench)


def test_a_claim_left_short_by_a_discard_is_told_at_once_with_what_it_lacks(bench):
    lot = bench.bottle("linalool 5g")
    batch = reserved(bench)
    discard(
        by=bench.by, now=bench.now, number=lot.number, mass=Decimal(2), why="spilled", despite_claims=True
    )
    [alert] = open_alerts(bench.by.studio)
    assert alert.sentence == (
        f"Batch {batch.number} claims 4 g of lot {lot.number}, linalool, which lacks 1 g of it. "
        f"{bench.by} reserved it."
    )
    assert (alert.subject, alert.name, alert.urgency) == ("batch", batch.number, 1)
    assert_the_run_agrees(bench)


def test_of_two_claims_the_younger_is_short_and_a_count_that_finds_more_closes_the_alert(bench):
    lot = bench.bottle("linalool 9g", tare=Decimal(10))
    reserved(bench)
    second = reserved(bench)
    count_lot(by=bench.by, now=bench.now, number=lot.number, gross=Decimal("17.5"))
    [alert] = open_alerts(bench.by.studio)
    assert (alert.name, alert.details["short"]) == (second.number, "0.500000")
    count_lot(by=bench.by, now=bench.now, number=lot.number, gross=Decimal("18.5"))
    assert run(bench).closed == 1


def test_a_pour_beyond_what_is_there_is_told_at_once(bench):
    bench.bottle("linalool 8g")
    first, second = reserved(bench), reserved(bench)
    bench.weigh(first, 1, "5")
    [alert] = open_alerts(bench.by.studio)
    assert (alert.name, alert.details["short"]) == (second.number, "1.000000")
    assert_the_run_agrees(bench)


def test_a_balance_is_told_from_its_first_day_until_it_passes(bench):
    balance = bench.balance()
    assert sentences(bench) == ["Balance fine was never checked."]
    assert_the_run_agrees(bench)
    check(bench, balance, "100.5")
    assert sentences(bench) == [
        "Balance fine did not pass its check on 1 March 2026; do not weigh on it before it does."
    ]
    assert_the_run_agrees(bench)
    check(bench, balance, "100")
    assert sentences(bench) == []
    bench.now += 7 * DAY
    assert run(bench).raised == 1
    assert sentences(bench) == [
        "Balance fine was last checked on 1 March 2026; the next check was due on 8 March 2026."
    ]


def check(bench, balance, reading):
    check_balance(
        by=bench.by,
        now=bench.now,
        balance=balance,
        reference=Decimal(100),
        reading=Decimal(reading),
        allowed_error=Decimal("0.01"),
    )


def test_a_lot_is_told_a_month_before_its_day_and_the_alert_closes_when_it_is_used_up(bench):
    lot = bench.bottle("citral 5g", expires_on=(bench.now + 40 * DAY).date())
    assert run(bench).raised == 0
    bench.now += 10 * DAY
    assert run(bench).raised == 1
    assert sentences(bench) == [f"Lot {lot.number}, citral, expires on 10 April 2026; 5 g are on hand."]
    assert run(bench).changed == 0
    bench.now += 31 * DAY
    assert run(bench).changed == 1
    [alert] = open_alerts(bench.by.studio)
    assert (alert.sentence.split()[3], alert.urgency, str(alert.due_on)) == ("expired", 2, "2026-04-10")
    discard(by=bench.by, now=bench.now, number=lot.number, why="old")
    assert run(bench).closed == 1


def test_an_expired_lot_with_claims_on_it_names_them_and_presses(bench):
    lot = bench.bottle("linalool 5g", expires_on=(bench.now + 2 * DAY).date())
    batch = reserved(bench)
    run(bench)
    bench.now += 3 * DAY
    kept = run(bench)
    assert (kept.raised, kept.closed) == (1, 1)
    [alert] = open_alerts(bench.by.studio)
    assert alert.kind == "expired-claimed"
    assert f"4 g of it are claimed for {batch.number}." in alert.sentence
    assert (alert.name, alert.urgency) == (lot.number, 1)


@pytest.mark.parametrize("more", [1, 20])
def test_every_cause_is_found_in_a_fixed_number_of_statements(bench, maker, more):
    short = bench.bottle(f"linalool {10 * more}g", expires_on=(bench.now + 2 * DAY).date())
    for number in range(more):
        bench.balance(f"balance {number}")
        lot = bench.bottle("citral 5g", expires_on=bench.now.date())
        hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.pk], why="old")
        reserved(bench)
        lend(by=bench.by, now=bench.now, lot=bench.bottle("citral 1g"), to=maker, due_on=bench.now.date())
    discard(
        by=bench.by,
        now=bench.now,
        number=short.number,
        mass=short.on_hand - 1,
        why="spilled",
        despite_claims=True,
    )
    bench.now += 13 * DAY
    with CaptureQueriesContext(connection) as captured:
        found = found_in(bench)
    assert {kind: bool(causes) for kind, causes in found.items()} == dict.fromkeys(found, True)
    assert len(captured) == 22


def test_an_overdue_loan_is_told_with_both_sides_until_the_lot_is_weighed_back(bench, maker):
    lot = bench.bottle("linalool 10g", tare=Decimal(20))
    loan = lend(by=bench.by, now=bench.now, lot=lot, to=maker, due_on=bench.now.date())
    run(bench)
    assert sentences(bench) == []
    bench.later(days=1)
    run(bench)
    assert sentences(bench) == [
        f"{maker} was to bring back lot {lot.number}, linalool, by 1 March 2026; it went out with 10 g and is the "
        f"studio’s."
    ]
    take_back(by=maker, now=bench.now, loan_id=loan.pk, gross=Decimal(29))
    assert sentences(bench) == []
    assert_the_run_agrees(bench)
