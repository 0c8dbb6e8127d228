"""Drawing off: some of a lot becomes a lot of its own, and stays what it was."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.counting import count_lot
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.ledger import LotOnHold, NoSuchLot, Shortage
from inventory.actions.lots import LotExpired
from inventory.models import Lot, LotContent, LotKind, Movement, Reason
from inventory.queries.trace import trace_lot
from studio.models import Member
from tests.workbench import Workbench, assert_everything_holds


def draw(bench: Workbench, lot: Lot, mass: str, **details: Any) -> Lot:
    drawn = draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(mass), **details)
    lot.refresh_from_db()
    return drawn


def contents(lot: Lot) -> dict[str, Decimal]:
    rows = LotContent.objects.filter(lot=lot, revision=lot.contents_revision)
    return dict(rows.values_list("material__name", "fraction"))


def test_what_is_drawn_off_leaves_one_lot_and_fills_another(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    vial = draw(bench, lot, "2.5")
    assert (lot.on_hand, vial.on_hand, vial.made_mass) == (Decimal("7.5"), Decimal("2.5"), Decimal("2.5"))
    [movement] = Movement.objects.filter(target=vial)
    assert (movement.source, movement.reason, movement.mass) == (lot, Reason.DRAWN_OFF, Decimal("2.5"))
    assert_everything_holds()


def test_it_is_a_vial_unless_told_otherwise(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    assert draw(bench, lot, "1").kind == LotKind.VIAL
    assert draw(bench, lot, "1", container=Container(kind=LotKind.BOTTLE)).kind == LotKind.BOTTLE


def test_it_is_what_it_was_drawn_from(bench: Workbench) -> None:
    lot = bench.bottle(
        "linalool@10% 10g", purity=Decimal("0.97"), price=Decimal(20), expires_on=date(2027, 1, 31)
    )
    vial = draw(bench, lot, "1")
    assert contents(vial) == contents(lot)
    for same in ("title", "material", "solvent", "declared_strength", "actual_strength", "strength_u"):
        assert getattr(vial, same) == getattr(lot, same)
    assert (vial.cost_per_gram, vial.expires_on) == (2, date(2027, 1, 31))


def test_from_a_lot_that_lost_solvent_it_has_the_strength_of_today(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g")
    count_lot(
        by=bench.by, now=bench.now, number=lot.number, gross=Decimal(80), tare=Decimal(0), loss="evaporated"
    )
    vial = draw(bench, lot, "8")
    assert (vial.actual_strength, vial.contents_revision, vial.concentration) == (Decimal("0.125"), 0, 1)
    assert contents(vial)["linalool"] == Decimal("0.125")
    # 8 g of what is left are what was in 10 g as received
    [bottle] = trace_lot(lot=vial, direction="back").lots
    assert bottle.mass == 10


def test_no_more_is_drawn_off_than_no_batch_has_claimed(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    bench.reserve(bench.plan(bench.formula("neat", "linalool 1"), "6"))
    with pytest.raises(Shortage) as refusal:
        draw(bench, lot, "4.000001")
    [short] = refusal.value.extra["shortages"]
    assert (short["lot"], short["available"]) == (lot.number, 4)
    draw(bench, lot, "4")
    assert (lot.on_hand, lot.available) == (6, 0)


def test_a_held_lot_is_left_alone(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.id], why="cloudy")
    with pytest.raises(LotOnHold, match="cloudy"):
        draw(bench, lot, "1")


def test_an_expired_lot_is_drawn_from_only_with_a_reason_which_stands_in_the_ledger(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g", expires_on=bench.now.date() - timedelta(days=1))
    with pytest.raises(LotExpired, match=lot.number):
        draw(bench, lot, "1")
    vial = draw(bench, lot, "1", expired_reason="to smell how it aged")
    assert Movement.objects.get(target=vial).why == "to smell how it aged"


def test_a_lot_may_still_be_used_on_the_day_it_expires(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g", expires_on=bench.now.date())
    assert draw(bench, lot, "1").on_hand == 1


def test_whether_it_had_expired_is_asked_of_the_day_it_was_drawn(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g", expires_on=bench.now.date())
    yesterday = bench.now
    bench.later(days=1)
    assert draw(bench, lot, "1", at=yesterday).made_at == yesterday


def test_another_studio_has_no_such_lot(bench: Workbench, stranger: Member) -> None:
    lot = bench.bottle("linalool 10g")
    with pytest.raises(NoSuchLot):
        draw_off(by=stranger, now=bench.now, number=lot.number, mass=Decimal(1))


def test_the_statements_of_drawing_off_do_not_grow_with_what_is_in_the_lot(bench: Workbench) -> None:
    names = [f"odorant {letter}" for letter in "abcdefghijkl"]
    for name in names:
        bench.bottle(f"{name} 10g")
    counts = set()
    for count in (2, 12):
        blend = bench.make(bench.formula(f"of {count}", *(f"{name} 1" for name in names[:count])), "6")
        with CaptureQueriesContext(connection) as queries:
            draw(bench, blend, "1")
        counts.add(len(queries))
    assert len(counts) == 1
