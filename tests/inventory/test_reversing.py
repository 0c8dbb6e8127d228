"""Taking a movement back: by its opposite, which names it and says why, and only while nothing rests on it."""

from decimal import Decimal
from typing import Any

import pytest

from inventory.actions.counting import count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.ledger import NotEnoughOnHand
from inventory.actions.reversing import NotReversible, reverse_movement
from inventory.models import Lot, LotKind, Movement, Reason
from inventory.queries.trace import trace_lot
from studio.models import Member
from studio.models.scoped import NoSuchThing
from tests.workbench import Workbench, assert_everything_holds


def take_back(bench: Workbench, movement: Movement) -> Movement:
    return reverse_movement(by=bench.by, now=bench.now, movement_id=movement.id, why="told wrong")


def count(bench: Workbench, lot: Lot, net: str, loss: Any = "spilled") -> None:
    count_lot(by=bench.by, now=bench.now, number=lot.number, gross=Decimal(net), tare=Decimal(0), loss=loss)


def draw(bench: Workbench, lot: Lot, mass: str, kind: LotKind = LotKind.VIAL) -> Lot:
    return draw_off(
        by=bench.by,
        now=bench.now,
        number=lot.number,
        mass=Decimal(mass),
        container=Container(kind=kind),
    )


def last() -> Movement:
    return Movement.objects.order_by("-id")[0]


def on_hand(lot: Lot) -> Decimal:
    return Lot.objects.get(pk=lot.pk).on_hand


def test_a_movement_is_taken_back_by_its_opposite_and_both_stay(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    discard(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(4), why="old")
    wrong = last()
    back = take_back(bench, wrong)
    assert (back.reason, back.mass, back.source, back.target) == (Reason.REVERSED, 4, None, lot)
    assert (back.reverses, back.why) == (wrong, "told wrong")
    assert on_hand(lot) == 10
    assert Movement.objects.filter(pk=wrong.pk).exists()
    assert_everything_holds()


def test_a_bottle_received_by_mistake_is_empty_again(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    take_back(bench, last())
    lot.refresh_from_db()
    assert (lot.on_hand, lot.emptied_at) == (0, bench.now)
    assert_everything_holds()


def test_what_was_drawn_off_goes_back_where_it_came_from(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    vial = draw(bench, lot, "3")
    take_back(bench, last())
    assert (on_hand(lot), on_hand(vial)) == (10, 0)
    assert trace_lot(lot=vial, direction="back").lots == []
    assert_everything_holds()


def test_counts_are_taken_back_both_ways(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    for net in ("12", "7"):
        count(bench, lot, net)
        before = on_hand(lot) - sum(
            (movement.mass if movement.target else -movement.mass) for movement in [last()]
        )
        take_back(bench, last())
        assert on_hand(lot) == before == 10


def test_a_movement_is_taken_back_once(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    count(bench, lot, "7")
    wrong = last()
    take_back(bench, wrong)
    with pytest.raises(NotReversible, match="already"):
        take_back(bench, wrong)
    assert on_hand(lot) == 10


def test_taking_back_is_not_taken_back(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    count(bench, lot, "7")
    back = take_back(bench, last())
    with pytest.raises(NotReversible):
        take_back(bench, back)


def test_mass_that_is_gone_cannot_be_taken_back(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    received = last()
    discard(by=bench.by, now=bench.now, number=lot.number, mass=Decimal("0.000001"), why="old")
    with pytest.raises(NotEnoughOnHand):
        take_back(bench, received)


def test_mass_that_is_claimed_cannot_be_taken_back(bench: Workbench) -> None:
    bench.bottle("linalool 10g")
    received = last()
    bench.reserve(bench.plan(bench.formula("neat", "linalool 1"), "1"))
    with pytest.raises(NotReversible, match="reserved"):
        take_back(bench, received)


def test_what_was_weighed_into_a_batch_is_answered_by_an_amendment(bench: Workbench) -> None:
    bench.bottle("linalool 10g")
    made = bench.make(bench.formula("neat", "linalool 1"), "1")
    with pytest.raises(NotReversible, match="sealed"):
        take_back(bench, Movement.objects.get(target=made))


def test_an_evaporation_is_not_taken_back(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g")
    count(bench, lot, "80", "evaporated")
    with pytest.raises(NotReversible, match="count"):
        take_back(bench, last())


@pytest.mark.parametrize("counted", ["90", "110"])
def test_nothing_goes_back_into_or_out_of_a_lot_that_has_dried_since(bench: Workbench, counted: str) -> None:
    """The ten grams were of 10 %; what is in the lot now is stronger, and was reckoned from a book with or without them."""
    lot = bench.bottle("linalool@10% 100g")
    count(bench, lot, counted)
    wrong = last()
    count(bench, lot, "80", "evaporated")
    with pytest.raises(NotReversible, match="evaporation"):
        take_back(bench, wrong)
    assert on_hand(lot) == 80


def test_a_drawn_off_lot_that_has_dried_does_not_go_back(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g")
    vial = draw(bench, lot, "10")
    wrong = last()
    count(bench, vial, "8", "evaporated")
    count(bench, vial, "10")
    with pytest.raises(NotReversible, match="evaporation"):
        take_back(bench, wrong)


def test_what_was_poured_on_keeps_its_ancestry(bench: Workbench) -> None:
    """Counted up again, the vial holds enough to go back; but a part of it is in another vial, and came this way."""
    lot = bench.bottle("linalool 10g")
    vial = draw(bench, lot, "5")
    wrong = last()
    smaller = draw(bench, vial, "2")
    count(bench, vial, "5")
    with pytest.raises(NotReversible, match=vial.number):
        take_back(bench, wrong)
    assert [one.lot.number for one in trace_lot(lot=smaller, direction="back").lots] == [
        vial.number,
        lot.number,
    ]


def test_once_the_later_pour_is_taken_back_the_earlier_can_be_too(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    vial = draw(bench, lot, "5")
    first = last()
    draw(bench, vial, "2")
    take_back(bench, last())
    take_back(bench, first)
    assert (on_hand(lot), on_hand(vial)) == (10, 0)


def test_what_an_open_batch_has_poured_of_a_lot_keeps_it_too(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    second = draw(bench, lot, "4", LotKind.BOTTLE)
    drawn = last()
    discard(by=bench.by, now=bench.now, number=lot.number, why="so that the plan takes the second")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1")
    bench.reserve(batch)
    bench.weigh(batch, 1, "1")
    count(bench, second, "9")
    with pytest.raises(NotReversible, match="poured on"):
        take_back(bench, drawn)


def test_a_movement_of_another_studio_does_not_exist(bench: Workbench, stranger: Member) -> None:
    bench.bottle("linalool 10g")
    with pytest.raises(NoSuchThing):
        reverse_movement(by=stranger, now=bench.now, movement_id=last().id, why="mischief")
