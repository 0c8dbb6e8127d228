"""Planning from the shelf: strengths moved only where they must be, reasons and remedies, pins, pours by hand."""

from decimal import Decimal
from typing import Any

import pytest

from batches.actions.reserving import NothingPlanned
from batches.actions.weigh_plans import (
    AlreadyPoured,
    LotPin,
    PlanDoesNotHold,
    Wishes,
    WrittenPour,
    plan_again,
    take_other_lot,
)
from batches.actions.weighing import strike_weighing
from batches.models import Batch
from batches.queries.batches import sealed_record
from inventory.actions.ledger import Shortage
from inventory.models import Lot
from tests.workbench import assert_everything_holds


@pytest.fixture
def accord(bench: Any) -> Any:
    """Two stocks at 10 % and alcohol on the shelf, and a formula of them at 5 %."""
    bench.balance()
    bench.bottle("linalool 100g")
    bench.bottle("vanillin 100g")
    bench.bottle("ethanol 1000g")
    bench.stock("linalool@10% 50g")
    bench.stock("vanillin@10% 50g")
    return bench.formula("accord", "linalool@10% 3", "vanillin@10% 2", "ethanol 5")


def targets(batch: Batch) -> list[tuple[str, str]]:
    rows = batch.lines.select_related("material").order_by("position")
    return [(line.material.name, f"{line.target:f}") for line in rows]


def test_what_fits_as_written_is_planned_as_written(bench: Any, accord: Any) -> None:
    batch = bench.plan(accord, "20")
    assert targets(batch) == [("linalool", "6.000000"), ("vanillin", "4.000000"), ("ethanol", "10.000000")]
    assert batch.explanation["moved"] == 0


def test_a_strength_above_the_ceiling_is_reached_from_neat_bottles_with_as_few_lines_moved_as_can_be(
    bench: Any, accord: Any
) -> None:
    batch = bench.plan(accord, "20", strength=Decimal("0.12"))
    assert batch.explanation["moved"] == 1
    assert Decimal(batch.explanation["strength"]) == Decimal("0.12")
    assert sum(Decimal(mass) for _, mass in targets(batch)) == 20


def test_where_nothing_fits_the_draft_keeps_the_reasons_and_what_would_help(bench: Any, accord: Any) -> None:
    batch = bench.plan(accord, "2000")
    assert not batch.lines.exists()
    assert batch.explanation["reasons"]
    assert batch.explanation["remedies"]
    with pytest.raises(NothingPlanned) as refusal:
        bench.reserve(batch)
    assert batch.explanation["reasons"][0]["sentence"] in refusal.value.message


def test_a_pinned_lot_is_kept_by_the_next_plan(bench: Any, accord: Any) -> None:
    spare = bench.stock("linalool@10% 30g")
    batch = bench.plan(accord, "20")
    plan_again(
        by=bench.by, now=bench.now, number=batch.number, wishes=Wishes(pins={1: [LotPin(spare.number)]})
    )
    line = batch.lines.get(position=1)
    assert (line.lot_id, line.pinned) == (spare.id, True)


def test_a_reserved_batch_planned_anew_holds_claims_on_the_new_lots_alone(bench: Any, accord: Any) -> None:
    spare = bench.stock("linalool@10% 30g")
    batch = bench.plan(accord, "20")
    bench.reserve(batch)
    plan_again(
        by=bench.by, now=bench.now, number=batch.number, wishes=Wishes(pins={1: [LotPin(spare.number)]})
    )
    spare.refresh_from_db()
    assert spare.reserved == Decimal("6.000000")
    assert_everything_holds()


def test_pours_by_hand_are_refused_with_every_rule_they_break_and_nothing_is_changed(
    bench: Any, accord: Any
) -> None:
    batch = bench.plan(accord, "20")
    before = targets(batch)
    lots = [line.lot.number for line in batch.lines.select_related("lot").order_by("position")]
    pours = [WrittenPour(1, lots[0], Decimal("60")), WrittenPour(2, lots[1], Decimal("4"))]
    with pytest.raises(PlanDoesNotHold) as refusal:
        plan_again(by=bench.by, now=bench.now, number=batch.number, wishes=Wishes(pours=pours))
    assert {"available", "total"} <= {fault["kind"] for fault in refusal.value.extra["faults"]}
    assert targets(batch) == before


def test_pours_by_hand_may_break_what_is_the_perfumers_own_judgement_knowingly(
    bench: Any, accord: Any
) -> None:
    batch = bench.plan(accord, "20")
    lots = [line.lot.number for line in batch.lines.select_related("lot").order_by("position")]
    pours = [
        WrittenPour(place, lot, Decimal(mass))
        for place, (lot, mass) in enumerate(zip(lots, ("7", "4", "9"), strict=True), start=1)
    ]
    wishes = Wishes(pours=pours, knowingly=True)
    planned = plan_again(by=bench.by, now=bench.now, number=batch.number, wishes=wishes)
    assert [mass for _, mass in targets(planned)] == ["7.000000", "4.000000", "9.000000"]
    assert {fault["kind"] for fault in planned.explanation["faults"]} >= {"deviation"}


def test_an_unweighed_line_is_taken_from_another_lot_fitted_to_its_strength(bench: Any, accord: Any) -> None:
    batch = bench.plan(accord, "20")
    bench.reserve(batch)
    bench.weigh(batch, 2, "4")
    neat = bench.bottle("linalool 10g")
    take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=1, lot=neat.number)
    line = batch.lines.get(position=1)
    assert (line.lot_id, line.target) == (neat.id, Decimal("0.600000"))
    with pytest.raises(AlreadyPoured):
        take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=2, lot=neat.number)
    assert_everything_holds()


def test_a_begun_line_is_finished_from_the_next_bottle_and_both_stand_in_the_record(bench: Any) -> None:
    first = bench.bottle("linalool@20%/ethanol 10g")
    batch = bench.plan(bench.formula("fifth", "linalool@20%/ethanol 1"), "8")
    bench.reserve(batch)
    bench.weigh(batch, 1, "5")
    second = bench.bottle("linalool@10%/ethanol 20g")
    take = {"by": bench.by, "now": bench.now, "number": batch.number, "position": 1}
    take_other_lot(**take, lot=second.number)
    line = batch.lines.get()
    assert (line.lot_id, line.planned, line.target) == (second.id, 8, 11)  # 3 g at 20 % are 6 g at 10 %
    assert reserved(first, second) == [5, 6]
    assert_everything_holds()
    bench.weigh(batch, 1, "6")
    with pytest.raises(AlreadyPoured, match="nothing of it is left"):
        take_other_lot(**take, lot=first.number)
    assert reserved(first, second) == [5, 6]
    made = bench.close(batch, strength_decision="declare actual")
    assert made.actual_strength == Decimal("0.145454545")
    [told] = sealed_record(studio=bench.by.studio, number=batch.number)["record"]["lines"]
    assert [(one["lot"], one["mass"]) for one in told["weighings"]] == [
        (first.number, "5.000000"),
        (second.number, "6.000000"),
    ]
    assert reserved(first, second) == [0, 0]
    assert_everything_holds()


def test_what_is_struck_of_the_first_bottle_is_claimed_of_the_next_as_far_as_it_goes(bench: Any) -> None:
    first = bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "9")
    bench.reserve(batch)
    second = bench.bottle("linalool 7g")
    weighing = bench.weigh(batch, 1, "4")
    take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=1, lot=second.number)
    assert reserved(first, second) == [4, 5]
    strike_weighing(
        by=bench.by, now=bench.now, number=batch.number, weighing_id=weighing.id, why="another batch"
    )
    assert reserved(first, second) == [0, 7]
    assert_everything_holds()


def test_the_next_bottle_must_hold_what_is_left(bench: Any) -> None:
    first = bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "9")
    bench.reserve(batch)
    drop = bench.bottle("linalool 2g")
    bench.weigh(batch, 1, "4")
    with pytest.raises(Shortage):
        take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=1, lot=drop.number)
    assert reserved(first, drop) == [9, 0]


def reserved(*lots: Any) -> list[Decimal]:
    rows = dict(Lot.objects.filter(id__in=[lot.id for lot in lots]).values_list("id", "reserved"))
    return [rows[lot.id] for lot in lots]


def test_another_lot_that_does_not_hold_enough_is_refused_and_the_old_claim_stays(
    bench: Any, accord: Any
) -> None:
    batch = bench.plan(accord, "20")
    bench.reserve(batch)
    drop = bench.bottle("linalool 0.5g")
    with pytest.raises(Shortage):
        take_other_lot(by=bench.by, now=bench.now, number=batch.number, position=1, lot=drop.number)
    assert batch.lines.get(position=1).target == Decimal("6.000000")
    assert_everything_holds()


def test_a_stock_is_made_from_a_stronger_stock_where_neat_would_be_too_little_to_weigh(bench: Any) -> None:
    bench.balance(readability="0.01")
    bench.bottle("geosmin 5g")
    bench.bottle("ethanol 500g")
    ten = bench.stock("geosmin@10% 20g")
    batch = bench.plan_stock("geosmin@1% 20g")
    first = batch.lines.get(position=1)
    assert (first.lot_id, first.target) == (ten.id, Decimal("2.000000"))


def test_a_stock_with_no_parent_says_what_is_missing(bench: Any) -> None:
    bench.bottle("ethanol 500g")
    batch = bench.plan_stock("geosmin@1% 20g")
    assert not batch.lines.exists()
    assert "geosmin" in batch.explanation["reasons"][0]["sentence"]
