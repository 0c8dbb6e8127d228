"""The remake plan in the product: reckoned from the studio as it stands, accepted once, and made until nothing is short."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.dating import date_batch
from batches.actions.formulas import adopt_as_base
from batches.actions.remakes import (
    OperationUsed,
    PlanIsOutdated,
    WantedRow,
    reserve_what_waits,
)
from batches.models import Batch, BatchState, RemakeAcceptance
from batches.queries.remakes import Remakes, could_be_made, remakes_of
from batches.queries.suggested_pars import suggested_pars
from inventory.actions.holding import hold_lots
from inventory.actions.pars import WantedPar, set_pars
from inventory.actions.purchases import receive_purchase
from inventory.models import Purchase
from studio.kernel.errors import Invalid
from tests.batches.remaking import accept, finish, in_days, offer, outlook_of, told, told_with_days, want
from tests.workbench import Workbench, assert_everything_holds

Planned = Callable[..., Remakes]


@pytest.fixture
def planned(bench: Workbench) -> Planned:
    def plan(days: int = 28, **outlook: Any) -> Remakes:
        return remakes_of(
            studio=bench.by.studio, today=bench.now.date(), outlook=outlook_of(bench, days, **outlook)
        )

    return plan


# What the plan is made of


def test_a_par_that_is_missed_is_made_up_to_full(bench: Workbench, planned: Planned) -> None:
    bench.bottle("linalool 100g")
    bench.bottle("ethanol 900g")
    want(bench, "linalool@10%/ethanol", "20", "50")
    assert told(planned()) == [("linalool 10 % in ethanol", "50")]
    bench.stock("linalool@10%/ethanol 30g")
    assert told(planned()) == []


def test_a_dated_draft_wants_what_its_formula_says_and_an_undated_one_nothing(
    bench: Workbench, planned: Planned
) -> None:
    batch = bench.plan(bench.formula("accord", "linalool@1%/ethanol 8", "ethanol 2"), "10")
    bench.bottle("linalool 100g")
    bench.bottle("ethanol 900g")
    assert told(planned()) == []
    date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=in_days(bench, 3))
    [row] = planned().plan.makings
    assert (row.name, row.mass) == ("linalool 1 % in ethanol", Decimal(8))
    assert (row.start_on, row.needed_on, row.late) == (in_days(bench, 3), in_days(bench, 3), False)
    assert [(peg.ref, peg.mass) for peg in row.pegs] == [(batch.number, Decimal(8))]
    assert planned(days=2).plan.makings == ()


def test_what_is_reserved_expired_or_on_hold_is_not_counted_on(bench: Workbench, planned: Planned) -> None:
    bench.bottle("linalool 100g")
    bench.bottle("ethanol 900g")
    want(bench, "linalool@10%/ethanol", "20", "20")
    stock = bench.stock("linalool@10%/ethanol 20g")
    assert told(planned()) == []
    reserved = bench.plan(bench.formula("accord", "linalool@10%/ethanol 1"), "5")
    bench.reserve(reserved)
    assert told(planned()) == [("linalool 10 % in ethanol", "5")]
    hold_lots(by=bench.by, now=bench.now, lot_ids=[stock.pk], why="cloudy")
    names = {(row.name, row.mass) for row in planned().plan.makings}
    # The batch in hand cannot be weighed from the held lot: its 5 g have to come from elsewhere, too.
    assert sum(mass for _, mass in names) == Decimal(25)


def test_what_is_reserved_for_a_later_day_stands_for_the_par_until_then(
    bench: Workbench, planned: Planned
) -> None:
    for text in ("linalool 100g", "ethanol 900g"):
        bench.bottle(text)
    bench.stock("linalool@10%/ethanol 30g")
    want(bench, "linalool@10%/ethanol", "20", "50")
    batch = bench.plan(bench.formula("accord", "linalool@10%/ethanol 15"), "15")
    date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=in_days(bench, 5))
    drafted = told_with_days(planned())
    bench.reserve(batch)
    assert told_with_days(planned()) == drafted == [("linalool 10 % in ethanol", "35", in_days(bench, 5))]


def test_a_lot_that_expires_before_its_day_is_of_no_use_then(bench: Workbench, planned: Planned) -> None:
    bench.bottle("ethanol 900g")
    bench.bottle("linalool 10g", expires_on=in_days(bench, 2))
    batch = bench.plan(bench.formula("neat", "linalool 1"), "5")
    date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=in_days(bench, 4))
    found = planned().plan
    assert [one.mass for one in found.shortages] == [Decimal(5)]
    assert [one.source.mass for one in found.expiries] == [Decimal(10)]


def test_a_base_is_made_by_its_recipe_and_its_stocks_before_it(bench: Workbench, planned: Planned) -> None:
    for text in ("linalool 100g", "vanillin 100g", "ethanol 900g"):
        bench.bottle(text)
    version = bench.formula("soft", "linalool@10%/ethanol 6", "vanillin@10%/ethanol 4", "ethanol 10")
    base = adopt_as_base(by=bench.by, now=bench.now, version=version, name="soft base")
    par = WantedPar(material=base, strength=Decimal("0.05"), low=Decimal(10), full=Decimal(40))
    set_pars(by=bench.by, now=bench.now, pars=[par])
    found = planned().plan
    assert {(row.name, row.mass, row.level) for row in found.makings} == {
        ("soft base 5 %", Decimal(40), 0),
        ("linalool 10 % in ethanol", Decimal(12), 1),
        ("vanillin 10 % in ethanol", Decimal(8), 1),
    }
    [day] = found.days
    assert day.rows[-1].startswith(f"make:{base.pk}-")


def test_what_cannot_be_made_is_bought_in_packs_in_time(bench: Workbench, planned: Planned) -> None:
    bench.bottle("ethanol 900g")
    offer(bench, "linalool", "5", "4")
    want(bench, "linalool@10%/ethanol", "60", "60")
    found = planned().plan
    [purchase] = found.purchases
    assert (purchase.mass, purchase.cost) == (Decimal(10), Decimal(8))
    assert purchase.arrives_on == in_days(bench, 5)
    assert [(row.name, row.start_on) for row in found.makings] == [
        ("linalool 10 % in ethanol", in_days(bench, 5))
    ]


def test_what_is_being_made_and_what_is_ordered_counts_as_coming(bench: Workbench, planned: Planned) -> None:
    bench.bottle("ethanol 900g")
    offer(bench, "linalool", "5", "4")
    want(bench, "linalool@10%/ethanol", "20", "60")
    accept(bench, planned())
    assert told(planned()) == []
    [batch] = Batch.objects.all()
    assert (batch.state, batch.planned_on) == (BatchState.DRAFT, in_days(bench, 5))


def test_expected_use_is_off_unless_it_is_asked_for(bench: Workbench, planned: Planned) -> None:
    bench.bottle("ethanol 900g")
    bench.bottle("linalool 17g")
    version = bench.formula("neat", "linalool 1")
    for _ in range(2):
        bench.make(version, "8")
        bench.later(days=7)
    assert told(planned()) == []
    assert [one.mass for one in planned(expected_use=True).plan.shortages]


def test_the_plan_takes_as_many_statements_whatever_it_holds(bench: Workbench, planned: Planned) -> None:
    counts = set()
    for more in (1, 15):
        for number in range(more):
            name = f"resin {'abcdefghijklmnopqrstuvwxyz'[number]}{'x' * more}"
            bench.bottle(f"{name} 10g")
            want(bench, f"{name}@10%/ethanol", "5", "20")
            batch = bench.plan(bench.formula(f"of-{name.replace(' ', '-')}", f"{name}@1%/ethanol 1"), "2")
            date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=in_days(bench, 2))
        with CaptureQueriesContext(connection) as captured:
            planned(expected_use=True)
        counts.add(len(captured))
    assert len(counts) == 1


# Accepting


@pytest.fixture
def short(bench: Workbench) -> Batch:
    """A batch planned in five days, for which two stocks are missing, one made of the other."""
    bench.balance(readability="0.001")
    for text in ("linalool 100g", "ethanol 900g"):
        bench.bottle(text)
    want(bench, "linalool@10%/ethanol", "10", "30")
    version = bench.formula("accord", "linalool@0.1%/ethanol 8", "linalool@10%/ethanol 2")
    batch = bench.plan(version, "10")
    return date_batch(by=bench.by, now=bench.now, number=batch.number, planned_on=in_days(bench, 5))


def test_a_plan_is_accepted_made_and_the_shortage_is_gone(
    bench: Workbench, planned: Planned, short: Batch
) -> None:
    found = planned()
    assert [row.name for row in found.plan.makings] == [
        "linalool 10 % in ethanol",
        "linalool 0.1 % in ethanol",
    ]
    parent, child = accept(bench, found).batches
    assert Batch.objects.get(number=parent).state == BatchState.RESERVED
    waiting = Batch.objects.get(number=child)
    assert waiting.state == BatchState.DRAFT
    assert "It waits for" in waiting.explanation["reasons"][0]["sentence"]
    assert told(planned()) == []
    finish(bench, parent)
    assert reserve_what_waits(by=bench.by, now=bench.now) == ([child], [short.number])
    finish(bench, child)
    assert reserve_what_waits(by=bench.by, now=bench.now) == ([short.number], [])
    finish(bench, short.number)
    assert_everything_holds()


def test_accepting_twice_does_nothing_twice(bench: Workbench, planned: Planned, short: Batch) -> None:
    found = planned()
    first = accept(bench, found)
    again = accept(bench, found)
    assert (again.pk, again.batches) == (first.pk, first.batches)
    assert Batch.objects.count() == 3
    with pytest.raises(OperationUsed):
        accept(bench, found, rows=[WantedRow(next(iter(found.plan.rows)))])


def test_a_plan_on_old_data_is_refused_with_what_changed(
    bench: Workbench, planned: Planned, short: Batch
) -> None:
    found = planned()
    bench.bottle("linalool 1g")
    with pytest.raises(PlanIsOutdated) as refusal:
        accept(bench, found)
    assert refusal.value.extra["changed"] == ["what stands on the shelf"]
    want(bench, "linalool@10%/ethanol", "10", "31")
    with pytest.raises(PlanIsOutdated) as refusal:
        accept(bench, found)
    assert refusal.value.extra["changed"] == ["what stands on the shelf", "the pars or shelf lives"]
    assert refusal.value.extra["since"][0].startswith("material linalool: par by ")
    assert not RemakeAcceptance.objects.exists()
    bench.later(days=1)
    with pytest.raises(PlanIsOutdated):
        accept(bench, found)


def test_some_rows_are_accepted_with_other_amounts(bench: Workbench, planned: Planned, short: Batch) -> None:
    found = planned()
    parent = found.plan.makings[0]
    acceptance = accept(bench, found, rows=[WantedRow(parent.key, Decimal(45))])
    [number] = acceptance.batches
    batch = Batch.objects.get(number=number)
    assert (batch.mass, batch.state, batch.planned_on) == (Decimal(45), BatchState.RESERVED, parent.start_on)
    assert [row.name for row in planned().plan.makings] == ["linalool 0.1 % in ethanol"]


def test_a_row_that_the_plan_does_not_have_is_refused(
    bench: Workbench, planned: Planned, short: Batch
) -> None:
    found = planned()
    key = found.plan.makings[0].key
    with pytest.raises(Invalid) as refusal:
        accept(bench, found, rows=[WantedRow(key), WantedRow(key), WantedRow("make:9-1-0:2026-03-01")])
    assert set(refusal.value.errors) == {"rows.1.key", "rows.2.key"}
    assert Batch.objects.count() == 1


def test_purchases_are_noted_once_and_received_against_the_plan(bench: Workbench, planned: Planned) -> None:
    bench.bottle("ethanol 900g")
    offer(bench, "linalool", "5", "4")
    want(bench, "linalool@10%/ethanol", "20", "60")
    found = planned()
    accept(bench, found)
    accept(bench, found)
    [purchase] = Purchase.objects.all()
    bench.later(days=5)
    receive_purchase(by=bench.by, now=bench.now, purchase=purchase)
    [number], _ = reserve_what_waits(by=bench.by, now=bench.now)
    finish(bench, number)
    assert told(planned()) == []


# What if


def test_could_it_be_made(bench: Workbench, short: Batch) -> None:
    version = short.version
    assert version is not None

    def asked(mass: str, days: int) -> Any:
        return could_be_made(
            version=version, today=bench.now.date(), day=in_days(bench, days), mass=Decimal(mass)
        )

    soon = asked("40", 2)
    assert (soon.answer.yes, soon.at_once) == (True, False)
    assert [row.name for row in soon.first_make] == ["linalool 10 % in ethanol", "linalool 0.1 % in ethanol"]
    never = asked("9000", 2)
    assert (never.answer.yes, never.answer.ready_on) == (False, None)
    assert Batch.objects.count() == 1


# Suggested pars


def test_pars_are_suggested_from_the_weeks_and_never_set(bench: Workbench) -> None:
    bench.bottle("linalool 500g")
    version = bench.formula("neat", "linalool 1")
    for _ in range(6):
        bench.make(version, "7")
        bench.later(days=7)
    [found] = suggested_pars(studio=bench.by.studio, today=bench.now.date())
    assert found.name == "linalool"
    assert sum(week.used for week in found.weeks) == Decimal(42)
    assert found.full >= found.low
    assert found.current is None
