"""Holding lots: nobody claims, weighs or draws from a lot in doubt, and what is made of it is in doubt too."""

from decimal import Decimal
from typing import Any

import pytest

from inventory.actions.counting import discard
from inventory.actions.drawing_off import draw_off
from inventory.actions.holding import NotOnHold, ReasonMissing, hold_lots, hold_with_descendants, release_lot
from inventory.actions.ledger import LotOnHold, NoSuchLot
from inventory.models import Lot
from studio.models import HistoryEntry, Member
from tests.workbench import Workbench, assert_everything_holds


def hold(bench: Workbench, lot: Lot, why: str = "smells of rubber") -> None:
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.id], why=why)
    lot.refresh_from_db()


def release(bench: Workbench, lot: Lot, why: str = "all is well") -> None:
    release_lot(by=bench.by, now=bench.now, lot_id=lot.id, why=why)
    lot.refresh_from_db()


@pytest.fixture
def lot(bench: Workbench) -> Lot:
    return bench.bottle("linalool 10g")


def neat(bench: Workbench, grams: str = "5") -> Any:
    return bench.plan(bench.formula("neat", "linalool 1"), grams)


def test_a_hold_says_since_when_and_why_and_stands_in_the_history(bench: Workbench, lot: Lot) -> None:
    hold(bench, lot)
    assert (lot.held_at, lot.hold_reason) == (bench.now, "smells of rubber")
    entry = HistoryEntry.objects.get(studio=bench.by.studio, name=lot.number, verb="put on hold")
    assert entry.changes == {"hold_reason": ["", "smells of rubber"]}


def test_a_lot_is_held_with_all_that_was_made_of_it(bench: Workbench, lot: Lot) -> None:
    vial = draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(2))
    drop = draw_off(by=bench.by, now=bench.now, number=vial.number, mass=Decimal(1))
    other = bench.bottle("linalool 1g")
    held = hold_with_descendants(by=bench.by, now=bench.now, lot_id=lot.id, why="cloudy")
    assert [one.id for one in held] == [lot.id, vial.id, drop.id]
    other.refresh_from_db()
    assert other.held_at is None
    with pytest.raises(ReasonMissing):
        hold_with_descendants(by=bench.by, now=bench.now, lot_id=lot.id, why="")


def test_a_held_lot_can_be_neither_reserved_nor_weighed_nor_drawn_from(bench: Workbench, lot: Lot) -> None:
    waiting, begun = neat(bench), bench.plan(bench.formula("other", "linalool 1"), "2")
    bench.reserve(begun)
    hold(bench, lot)
    with pytest.raises(LotOnHold, match=lot.number):
        bench.reserve(waiting)
    with pytest.raises(LotOnHold, match=lot.number):
        bench.weigh(begun, 1, "2")
    with pytest.raises(LotOnHold, match=lot.number):
        draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(1))


def test_a_held_lot_may_be_thrown_away(bench: Workbench, lot: Lot) -> None:
    hold(bench, lot)
    discard(by=bench.by, now=bench.now, number=lot.number, why="spoiled")
    lot.refresh_from_db()
    assert lot.on_hand == 0


def test_a_released_lot_is_used_as_before(bench: Workbench, lot: Lot) -> None:
    batch = neat(bench)
    hold(bench, lot)
    release(bench, lot)
    assert (lot.held_at, lot.hold_reason) == (None, "")
    bench.reserve(batch)
    assert_everything_holds()


def test_a_second_reason_is_added_to_the_first_and_the_same_is_not(bench: Workbench, lot: Lot) -> None:
    hold(bench, lot, "cloudy")
    since = lot.held_at
    bench.later(days=1)
    hold(bench, lot, "smells of rubber")
    hold(bench, lot, "cloudy")
    assert (lot.held_at, lot.hold_reason) == (since, "cloudy; smells of rubber")


def test_a_lot_that_is_not_held_is_not_released(bench: Workbench, lot: Lot) -> None:
    with pytest.raises(NotOnHold):
        release(bench, lot)


def test_a_hold_and_its_end_need_a_reason(bench: Workbench, lot: Lot) -> None:
    with pytest.raises(ReasonMissing):
        hold(bench, lot, "")
    hold(bench, lot)
    with pytest.raises(ReasonMissing):
        release(bench, lot, "")


def test_a_lot_of_another_studio_is_not_there_to_be_held(
    bench: Workbench, lot: Lot, stranger: Member
) -> None:
    with pytest.raises(NoSuchLot):
        hold_lots(by=stranger, now=bench.now, lot_ids=[lot.id], why="envy")


def test_what_is_made_of_a_held_lot_is_held_from_the_start(bench: Workbench, lot: Lot) -> None:
    batch = neat(bench)
    bench.reserve(batch)
    bench.weigh_all(batch)
    hold(bench, lot)
    made = bench.close(batch)
    assert made.held_at == bench.now
    assert lot.number in made.hold_reason


def test_holding_offers_to_hold_everything_made_of_it_and_lists_the_open_batches(
    bench: Workbench, lot: Lot, api: Any
) -> None:
    blend = bench.make(bench.formula("neat", "linalool 1"), "2")
    vial = draw_off(by=bench.by, now=bench.now, number=blend.number, mass=Decimal(1))
    waiting = bench.plan(bench.formula("other", "linalool 1"), "2")
    bench.reserve(waiting)

    offered = api.post(f"lots/{lot.number}/hold/", {"why": "doubtful"}).json()
    assert offered["held"] == [lot.number]
    assert [one["number"] for one in offered["descendants"]] == [blend.number, vial.number]
    assert offered["open_batches"] == [waiting.number]

    taken = api.post(f"lots/{lot.number}/hold/", {"why": "doubtful", "descendants": True}).json()
    assert taken["held"] == [lot.number, blend.number, vial.number]
    assert not Lot.objects.of(bench.by.studio).filter(held_at__isnull=True).exists()
