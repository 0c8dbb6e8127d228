"""Alerts of the remake plan: below par, and running short by a day, each gone when its cause is."""

from datetime import timedelta

from batches.actions.dating import date_batch
from studio.kernel.causes import Cause, Urgency
from studio.queries.alerts import causes_in
from tests.batches.test_remakes import want
from tests.workbench import Workbench


def found(bench: Workbench, kind: str) -> list[Cause]:
    return causes_in(bench.by.studio, bench.now)[kind]


def test_a_missed_par_is_a_cause_until_it_is_made_or_being_made(bench: Workbench) -> None:
    bench.bottle("linalool 100g")
    bench.bottle("ethanol 900g")
    want(bench, "linalool@10%/ethanol", "20", "50")
    [cause] = found(bench, "below-par")
    assert cause.sentence == (
        "linalool 10 % in ethanol is below par: 0 g are free to use, 20 g are wanted at least and 50 g at most. "
        "The remake plan says how to make it up."
    )
    batch = bench.plan_stock("linalool@10%/ethanol 30g", planned_on=bench.now.date())
    bench.reserve(batch)
    assert found(bench, "below-par") == []


def test_a_dated_batch_that_will_find_too_little_is_a_cause_with_its_day(bench: Workbench) -> None:
    bench.bottle("ethanol 900g")
    batch = bench.plan(bench.formula("accord", "linalool@10%/ethanol 8", "ethanol 2"), "10")
    day = bench.now.date() + timedelta(days=6)
    assert found(bench, "runs-short") == []
    date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=day)
    [cause] = found(bench, "runs-short")
    assert (cause.name, cause.due_on, cause.urgency) == (batch.number, day, Urgency.SOON)
    assert cause.sentence.startswith(
        "linalool 10 % in ethanol will run short on 7 March 2026: 8 g are missing"
    )
    bench.later(days=4)
    assert found(bench, "runs-short")[0].urgency == Urgency.NOW
    bench.bottle("linalool@10%/ethanol 9g")
    assert found(bench, "runs-short") == []
