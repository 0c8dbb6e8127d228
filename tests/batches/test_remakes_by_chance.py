"""Studios by chance accept their whole remake plan, make it, and are short of nothing."""

import random

import pytest

from batches.actions.dating import date_batch
from batches.actions.remakes import (
    reserve_what_waits,
)
from batches.models import Batch, BatchState
from batches.queries.remakes import Remakes, remakes_of
from tests.batches.remaking import accept, finish, in_days, outlook_of, told, want
from tests.workbench import Workbench, assert_everything_holds


@pytest.mark.parametrize("seed", range(5))
def test_a_studio_by_chance_that_makes_its_whole_plan_is_short_of_nothing(
    bench: Workbench, seed: int
) -> None:
    rng = random.Random(seed)
    wanted_by_chance(bench, rng)
    found = plan_of(bench)
    assert found.plan.shortages == ()
    accept(bench, found)
    assert told(plan_of(bench)) == []
    open_batches = Batch.objects.of(bench.by.studio).exclude(state=BatchState.CLOSED)
    for _ in range(6):
        reserve_what_waits(by=bench.by, now=bench.now)
        for number in open_batches.filter(state=BatchState.RESERVED).values_list("number", flat=True):
            finish(bench, number)
    assert not open_batches.exists()
    left = plan_of(bench).plan
    assert (left.rows, left.shortages, left.runs_short) == ({}, (), ())
    assert_everything_holds()


def plan_of(bench: Workbench) -> Remakes:
    return remakes_of(studio=bench.by.studio, today=bench.now.date(), outlook=outlook_of(bench))


def wanted_by_chance(bench: Workbench, rng: random.Random) -> None:
    """Bottles enough for everything, a few stocks and pars, and up to three dated batches."""
    bench.balance(readability="0.001")
    bench.bottle("ethanol 5000g")
    names = rng.sample(["linalool", "vanillin", "indole", "citral", "geraniol"], 3)
    for name in names:
        bench.bottle(f"{name} 500g")
        if rng.random() < 0.5:
            bench.stock(f"{name}@10%/ethanol {rng.randint(3, 40)}g")
        if rng.random() < 0.7:
            low = rng.randint(2, 15)
            want(
                bench, f"{name}@{rng.choice(('10%', '1%'))}/ethanol", str(low), str(low + rng.randint(0, 30))
            )
    for number in range(rng.randint(1, 3)):
        lines = [
            f"{name}@{rng.choice(('10%', '1%', '0.1%'))}/ethanol {rng.randint(1, 9)}"
            for name in rng.sample(names, rng.randint(1, 3))
        ]
        batch = bench.plan(bench.formula(f"chance-{number}", *lines), str(rng.randint(4, 20)))
        day = in_days(bench, rng.randint(0, 9))
        date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=day)
