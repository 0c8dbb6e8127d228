"""Closing: what was weighed becomes a lot, once, and everything said of the lot follows from the weighings."""

import json
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.batch_lock import WrongState
from batches.actions.closing import (
    Filled,
    LinesNotWeighed,
    NothingWeighed,
    StrengthDiffers,
    close_batch,
)
from batches.actions.weigh_plans import take_other_lot
from batches.actions.weighing import strike_weighing
from batches.models import Batch, BatchState
from batches.queries.batches import sealed_record
from inventory.actions.counting import discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.places import add_balance
from inventory.calc.weighing import BalanceTraits
from inventory.models import Claim, Lot, LotContent, LotKind, Movement, Reason
from inventory.queries.trace import trace_lot
from studio.kernel.errors import StaleEdition
from studio.models import SealedRecord
from studio.queries.chain import broken_links
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench, assert_everything_holds


def contents(lot: Lot) -> dict[str, Decimal]:
    return dict(LotContent.objects.filter(lot=lot).values_list("material__name", "fraction"))


def weighed(bench: Workbench, batch: Batch, *masses: str) -> Batch:
    """Reserve a batch and pour these grams, line by line."""
    bench.reserve(batch)
    for position, mass in enumerate(masses, start=1):
        bench.weigh(batch, position, mass)
    return batch


@pytest.fixture
def tenth(bench: Workbench) -> Batch:
    """Ten grams of which one is linalool and nine are ethanol."""
    bench.bottle("linalool 10g", price=Decimal(50))
    bench.bottle("ethanol 100g", price=Decimal(10))
    return bench.plan(bench.formula("tenth", "linalool 1", "ethanol 9"), "10")


# Contents


def test_the_made_lot_holds_what_was_weighed_and_not_what_was_planned(bench: Workbench, tenth: Batch) -> None:
    lot = bench.close(weighed(bench, tenth, "1.01", "8.97"))
    assert (lot.kind, lot.on_hand, lot.made_mass) == (LotKind.BLEND, Decimal("9.98"), Decimal("9.98"))
    # 1.01/9.98 = 0.101202404…, 8.97/9.98 = 0.898797595…
    assert contents(lot) == {"linalool": Decimal("0.101202405"), "ethanol": Decimal("0.898797595")}
    assert (lot.declared_strength, lot.actual_strength) == (Decimal("0.1"), Decimal("0.101202405"))
    assert_everything_holds()


def test_one_part_of_ten_per_cent_and_nine_parts_of_solvent_are_one_per_cent(bench: Workbench) -> None:
    """Trade arithmetic, common practice: neat → 10 % → 1 % → 0.1 %, each one part in ten."""
    bench.bottle("linalool 10g")
    bench.bottle("ethanol 1000g")
    lots = [bench.stock(f"linalool@{percent}% 10g") for percent in ("10", "1", "0.1")]
    assert [contents(lot)["linalool"] for lot in lots] == [Decimal("0.1"), Decimal("0.01"), Decimal("0.001")]
    bottles = {
        traced.lot.title: traced.mass
        for traced in trace_lot(lot=lots[-1], direction="back").lots
        if traced.lot.kind == LotKind.BOTTLE
    }
    assert bottles == {"linalool": Decimal("0.01"), "ethanol": Decimal("9.99")}
    assert_everything_holds()


def test_equal_masses_of_a_one_and_a_ten_per_cent_stock_hold_half_and_five_per_cent(bench: Workbench) -> None:
    """Trade arithmetic, common practice, exact w/w: 5.5 % of odorants together."""
    bench.bottle("vanillin@1% 10g")
    bench.bottle("linalool@10% 10g")
    lot = bench.make(bench.formula("one to one", "vanillin@1% 1", "linalool@10% 1"), "4")
    assert contents(lot) == {
        "vanillin": Decimal("0.005"),
        "linalool": Decimal("0.05"),
        "ethanol": Decimal("0.945"),
    }
    assert lot.actual_strength == Decimal("0.055")


def test_a_stock_is_as_strong_as_its_own_material_and_a_blend_as_all_its_odorants(bench: Workbench) -> None:
    bench.bottle("vanillin 10g")
    bench.bottle("linalool 10g")
    bench.bottle("ethanol 100g")
    stock = bench.stock("linalool@10% 10g")
    blend = bench.make(bench.formula("three", "linalool 1", "vanillin 2", "ethanol 7"), "10")
    assert (stock.kind, stock.actual_strength) == (LotKind.STOCK, Decimal("0.1"))
    assert (blend.kind, blend.actual_strength) == (LotKind.BLEND, Decimal("0.3"))


def test_the_uncertainty_grows_along_the_whole_path(bench: Workbench) -> None:
    """1.000 + 9.000 g three times, u = d/√6 of each net mass, d = 1 mg: 3.697e-5, 5.228e-6, 6.403e-7.

    Worked out with the uncertainties library; each u(m) is kept to the microgram, 0.408 mg, so within a part in 500.
    """
    traits = BalanceTraits(
        capacity=Decimal(200), readability=Decimal("0.001"), repeatability=Decimal(0), linearity=Decimal(0)
    )
    balance = add_balance(by=bench.by, now=bench.now, name="of readability alone", traits=traits)
    parent = bench.bottle("linalool 10g")
    bench.bottle("ethanol 1000g")
    found = []
    for percent in ("10", "1", "0.1"):
        batch = bench.plan_stock(f"linalool@{percent}% 10g", balance=balance)
        assert dict(batch.lines.values_list("lot__title", "target")) == {parent.title: 1, "ethanol": 9}
        bench.reserve(batch)
        bench.weigh_all(batch)
        discard(by=bench.by, now=bench.now, number=parent.number, why="used up", despite_claims=True)
        parent = bench.close(batch)
        found.append(float(parent.strength_u))
    assert found == pytest.approx([3.697e-5, 5.228e-6, 6.403e-7], rel=2e-3)


# The lot


def test_it_expires_with_the_first_of_its_parents(bench: Workbench) -> None:
    bench.bottle("linalool 10g", expires_on=date(2027, 3, 1))
    bench.bottle("ethanol 10g", expires_on=date(2027, 2, 1))
    lot = bench.make(bench.formula("half", "linalool 1", "ethanol 1"), "2")
    assert lot.expires_on == date(2027, 2, 1)


def test_it_expires_sooner_when_a_material_in_it_does_not_keep_in_dilution(bench: Workbench) -> None:
    bench.material("linalool", stock_shelf_life_days=180)
    bench.bottle("linalool 10g", expires_on=bench.now.date() + timedelta(days=400))
    bench.bottle("ethanol 10g")
    lot = bench.make(bench.formula("half", "linalool 1", "ethanol 1"), "2")
    assert lot.expires_on == bench.now.date() + timedelta(days=180)


def test_its_cost_is_that_of_what_was_weighed(bench: Workbench, tenth: Batch) -> None:
    """1.2 g at 5.00 and 9 g at 0.10 are 6.90, over 10.2 g."""
    lot = bench.close(weighed(bench, tenth, "1.2", "9"), strength_decision="keep declared")
    tenth.refresh_from_db()
    assert tenth.actual_cost == Decimal("6.9")
    assert lot.cost_per_gram == Decimal("0.676470588")


def test_a_parent_without_a_price_leaves_the_cost_unknown(bench: Workbench) -> None:
    bench.bottle("linalool 10g", price=Decimal(50))
    bench.bottle("ethanol 10g")
    batch = weighed(bench, bench.plan(bench.formula("half", "linalool 1", "ethanol 1"), "2"), "1", "1")
    lot = bench.close(batch)
    batch.refresh_from_db()
    assert (lot.cost_per_gram, batch.actual_cost) == (None, None)


def test_it_was_made_when_the_last_of_it_was_weighed(bench: Workbench, tenth: Batch) -> None:
    bench.reserve(tenth)
    then = bench.now - timedelta(hours=2)
    bench.weigh(tenth, 1, "1", at=then - timedelta(hours=1))
    bench.weigh(tenth, 2, "9", at=then)
    lot = bench.close(tenth)
    assert (lot.made_at, lot.recorded_at) == (then, bench.now)


# What is decided


def test_nothing_weighed_is_nothing_to_close(bench: Workbench, tenth: Batch) -> None:
    bench.reserve(tenth)
    with pytest.raises(NothingWeighed):
        bench.close(tenth)
    weighing = bench.weigh(tenth, 1, "1")
    strike_weighing(by=bench.by, now=bench.now, number=tenth.number, weighing_id=weighing.id, why="slip")
    with pytest.raises(NothingWeighed):
        bench.close(tenth)


def test_a_line_is_left_out_only_with_a_reason_which_stands_in_the_record(
    bench: Workbench, tenth: Batch
) -> None:
    weighed(bench, tenth, "1")
    with pytest.raises(LinesNotWeighed) as refusal:
        bench.close(tenth)
    assert refusal.value.extra["lines"] == [2]
    lot = bench.close(tenth, left_out_reason="wanted neat after all", strength_decision="declare actual")
    assert contents(lot) == {"linalool": Decimal(1)}
    record = sealed_record(studio=bench.by.studio, number=tenth.number)["record"]
    assert record["left_out_because"] == "wanted neat after all"


@pytest.mark.parametrize(
    ("decision", "declared"), [("keep declared", Decimal("0.1")), ("declare actual", Decimal("0.117647059"))]
)
def test_a_strength_beyond_the_studios_tolerance_asks_for_a_decision(
    bench: Workbench, tenth: Batch, decision: Any, declared: Decimal
) -> None:
    weighed(bench, tenth, "1.2", "9")  # 1.2/10.2 = 0.117647…
    with pytest.raises(StrengthDiffers) as refusal:
        bench.close(tenth)
    assert (refusal.value.extra["declared"], refusal.value.extra["actual"]) == (
        Decimal("0.1"),
        Decimal("0.117647059"),
    )
    lot = bench.close(tenth, strength_decision=decision, strength_reason="smells right")
    assert (lot.declared_strength, lot.actual_strength) == (declared, Decimal("0.117647059"))


def test_a_strength_just_at_the_tolerance_asks_for_nothing(bench: Workbench, tenth: Batch) -> None:
    assert bench.by.studio.strength_tolerance == Decimal("0.02")
    lot = bench.close(weighed(bench, tenth, "1.02", "8.98"))
    assert lot.actual_strength == Decimal("0.102")


# Movements and claims


def test_each_weighing_becomes_one_movement_and_unused_claims_are_let_go(
    bench: Workbench, tenth: Batch
) -> None:
    bench.reserve(tenth)
    for position, mass in ((1, "0.5"), (1, "0.49"), (2, "9")):
        bench.weigh(tenth, position, mass)
    lot = bench.close(tenth)
    poured = Movement.objects.filter(target=lot).order_by("id")
    assert [movement.mass for movement in poured] == [Decimal("0.5"), Decimal("0.49"), 9]
    assert {movement.reason for movement in poured} == {Reason.WEIGHED_IN}
    claims = Claim.objects.of(bench.by.studio).filter(purpose=tenth.number)
    assert {claim.settled: claim.state for claim in claims} == {Decimal("0.99"): "settled", 9: "settled"}
    assert not Lot.objects.of(bench.by.studio).filter(reserved__gt=0).exists()
    assert_everything_holds()


def test_what_was_poured_beyond_the_book_is_counted_up_first(bench: Workbench, tenth: Batch) -> None:
    lot = bench.close(weighed(bench, tenth, "10.25", "92.25"))
    up = Movement.objects.of(bench.by.studio).filter(batch=tenth.number, reason=Reason.COUNTED_UP)
    assert [(movement.mass, movement.target.title) for movement in up] == [(Decimal("0.25"), "linalool")]
    assert (lot.on_hand, lot.actual_strength) == (Decimal("102.5"), Decimal("0.1"))
    assert_everything_holds()


# Once


def test_closing_again_changes_nothing(bench: Workbench, tenth: Batch) -> None:
    lot = bench.close(weighed(bench, tenth, "1", "9"))
    bench.later(days=1)
    assert bench.close(tenth, title="another") == lot
    assert SealedRecord.objects.filter(studio=bench.by.studio).count() == 1


def test_a_batch_changed_since_it_was_read_is_not_closed(bench: Workbench, tenth: Batch) -> None:
    weighed(bench, tenth, "1")
    tenth.refresh_from_db()
    seen = tenth.edition
    bench.weigh(tenth, 2, "9")
    closing = {"by": bench.by, "now": bench.now, "number": tenth.number}
    with pytest.raises(StaleEdition):
        close_batch(**closing, expected=seen)
    closed = close_batch(**closing, expected=seen + 1)
    assert close_batch(**closing, expected=seen + 1).made == closed.made


@pytest.mark.parametrize("state", ["draft", "void"])
def test_a_batch_that_is_not_being_weighed_cannot_be_closed(
    bench: Workbench, tenth: Batch, state: str
) -> None:
    Batch.objects.filter(pk=tenth.pk).update(state=state)
    with pytest.raises(WrongState):
        bench.close(tenth)


def test_the_statements_of_closing_do_not_grow_with_the_lines(bench: Workbench) -> None:
    bench.balance()
    names = [f"odorant {letter}{other}" for letter in "abcde" for other in "abcdefghij"]
    for name in names:
        bench.bottle(f"{name} 10g")
    counts = set()
    for count in (5, 50):
        formula = bench.formula(f"of {count}", *(f"{name} 1" for name in names[:count]))
        batch = bench.plan(formula, str(count))
        bench.reserve(batch)
        bench.weigh_all(batch)
        with CaptureQueriesContext(connection) as queries:
            close_batch(by=bench.by, now=bench.now, number=batch.number)
        counts.add(len(queries))
    assert len(counts) == 1, counts


# The sealed record


def test_the_record_says_what_was_planned_weighed_struck_and_made(bench: Workbench, tenth: Batch) -> None:
    bench.reserve(tenth)
    slip = bench.weigh(tenth, 1, "4")
    strike_weighing(by=bench.by, now=bench.now, number=tenth.number, weighing_id=slip.id, why="wrong digit")
    bench.weigh(tenth, 1, "1")
    bench.weigh(tenth, 2, "9")
    lot = bench.close(tenth)
    sealed = sealed_record(studio=bench.by.studio, number=tenth.number)
    record = sealed["record"]
    line = record["lines"][0]
    assert (line["planned"], line["lot"]) == ("1.000000", tenth.lines.get(position=1).lot.number)
    assert [(one["mass"], one["struck_because"]) for one in line["weighings"]] == [
        ("4.000000", "wrong digit"),
        ("1.000000", None),
    ]
    assert (record["made"]["lot"], record["made"]["mass"]) == (lot.number, "10.000000")
    assert record["closed_at"] == "2026-03-01T09:30:00Z"
    assert json.loads(sealed["text"])["name"] == tenth.number


def test_the_record_names_the_lot_of_a_struck_weighing_also_when_the_line_took_another_since(
    bench: Workbench,
) -> None:
    first, second = bench.bottle("linalool 10g"), bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "2")
    bench.reserve(batch)
    slip = bench.weigh(batch, 1, "1")
    strike_weighing(by=bench.by, now=bench.now, number=batch.number, weighing_id=slip.id, why="leaking")
    take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=1, lot=second.number)
    bench.weigh(batch, 1, "2")
    bench.close(batch)
    [line] = sealed_record(studio=bench.by.studio, number=batch.number)["record"]["lines"]
    assert [(one["lot"], one["mass"]) for one in line["weighings"]] == [
        (first.number, "1.000000"),
        (second.number, "2.000000"),
    ]
    assert_everything_holds()


def test_a_record_that_was_tampered_with_is_found_and_named(bench: Workbench, tenth: Batch) -> None:
    bench.close(weighed(bench, tenth, "1", "9"))
    bench.make(bench.formula("other", "linalool 1"), "1")
    assert list(broken_links(bench.by.studio)) == []
    record = SealedRecord.objects.get(studio=bench.by.studio, name=tenth.number)
    text = record.text.replace('"mass":"1.000000"', '"mass":"1.100000"')
    assert text != record.text
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.filter(pk=record.pk).update(text=text)
    [found] = broken_links(bench.by.studio)
    assert found.sequence == record.sequence == 1


# The lot in later makings


def test_what_was_made_of_a_lot_is_remembered_when_the_lot_is_gone(bench: Workbench, tenth: Batch) -> None:
    lot = bench.close(weighed(bench, tenth, "1", "9"))
    vial = draw_off(
        by=bench.by,
        now=bench.now,
        number=lot.number,
        mass=lot.on_hand,
        container=Container(title="all of it"),
    )
    lot.refresh_from_db()
    assert lot.on_hand == 0
    traced = {one.lot.title: one.mass for one in trace_lot(lot=vial, direction="back").lots}
    assert traced == {"tenth 1": 10, "linalool": 1, "ethanol": 9}
    assert contents(lot)["linalool"] == Decimal("0.1")


def test_it_is_put_where_and_in_what_it_was_told(bench: Workbench, tenth: Batch) -> None:
    weighed(bench, tenth, "1", "9")
    filled = Filled(title="Trial A", tare=Decimal("12.5"), capacity_ml=Decimal(15), keeper=bench.by)
    lot = close_batch(by=bench.by, now=bench.now, number=tenth.number, filled=filled).made
    assert lot is not None
    assert (lot.title, lot.tare, lot.capacity_ml, lot.keeper) == ("Trial A", Decimal("12.5"), 15, bench.by)
    tenth.refresh_from_db()
    assert (tenth.state, tenth.made, tenth.ended_at) == (BatchState.CLOSED, lot, bench.now)
