"""Bringing the book back to what the container holds: counted up, spilled, evaporated, discarded."""

from decimal import Decimal
from typing import Any

import pytest

from batches.models import Batch
from inventory.actions.counting import (
    Count,
    DriedUp,
    LighterThanItsContainer,
    StillClaimed,
    TareUnknown,
    count_lot,
    discard,
)
from inventory.actions.ledger import NotEnoughOnHand
from inventory.calc.contents import LossExceedsSolvent
from inventory.models import Lot, LotContent, Movement, Reason
from studio.models import HistoryEntry
from tests.workbench import Workbench, assert_everything_holds


def count(bench: Workbench, lot: Lot, net: str, loss: Any = "spilled", **details: Any) -> Count:
    """Weigh the container of a lot: `net` grams in a container of five."""
    counted = count_lot(
        by=bench.by,
        now=bench.now,
        number=lot.number,
        gross=Decimal(net) + 5,
        tare=Decimal(5),
        loss=loss,
        **details,
    )
    lot.refresh_from_db()
    return counted


def throw_away(bench: Workbench, lot: Lot, **details: Any) -> None:
    discard(by=bench.by, now=bench.now, number=lot.number, why="old", **details)
    lot.refresh_from_db()


def contents(lot: Lot, revision: int | None = None) -> dict[str, Decimal]:
    at = lot.contents_revision if revision is None else revision
    rows = LotContent.objects.filter(lot=lot, revision=at)
    return dict(rows.values_list("material__name", "fraction"))


def last_movement(lot: Lot) -> Movement:
    return Movement.objects.of(lot.studio_id).order_by("-id")[0]


def reserved_batch(bench: Workbench) -> Batch:
    """Five grams of linalool and as much ethanol, reserved."""
    bench.bottle("ethanol 100g")
    batch = bench.plan(bench.formula("half", "linalool 1", "ethanol 1"), "10")
    return bench.reserve(batch)


# A surplus, a loss


def test_a_surplus_is_counted_up(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    counted = count(bench, lot, "10.25", why="heavier than told")
    movement = last_movement(lot)
    assert (counted.book, counted.found, lot.on_hand) == (10, Decimal("10.25"), Decimal("10.25"))
    assert (movement.reason, movement.mass, movement.target) == (Reason.COUNTED_UP, Decimal("0.25"), lot)
    assert movement.why == "heavier than told"


def test_a_spilled_loss_leaves_the_strength_as_it_was(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g")
    count(bench, lot, "80")
    assert (last_movement(lot).reason, last_movement(lot).mass) == (Reason.COUNTED_DOWN, 20)
    assert (lot.on_hand, lot.actual_strength, lot.contents_revision) == (80, Decimal("0.1"), 0)


def test_a_count_that_finds_what_the_book_says_moves_nothing(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    count(bench, lot, "10")
    assert last_movement(lot).reason == Reason.RECEIVED


def test_a_count_stands_in_the_history_with_old_and_new(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    count(bench, lot, "9.5", why="spilled some")
    entry = HistoryEntry.objects.get(studio=bench.by.studio, name=lot.number, verb="counted")
    assert entry.changes == {"on_hand": ["10.000000", "9.500000"]}
    assert entry.why == "spilled some"


def test_the_tare_is_kept_and_needed_once(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    with pytest.raises(TareUnknown):
        count_lot(by=bench.by, now=bench.now, number=lot.number, gross=Decimal(15))
    count(bench, lot, "10")
    count_lot(by=bench.by, now=bench.now, number=lot.number, gross=Decimal(13))
    lot.refresh_from_db()
    assert (lot.tare, lot.on_hand) == (5, 8)


def test_a_container_lighter_than_itself_is_refused(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    with pytest.raises(LighterThanItsContainer):
        count(bench, lot, "-0.000001")
    assert lot.on_hand == 10


def test_what_open_batches_have_poured_is_out_of_the_container_and_no_loss(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    batch = reserved_batch(bench)
    bench.weigh(batch, 1, "4")
    counted = count(bench, lot, "6")
    assert (counted.book, counted.found) == (10, 10)
    counted = count(bench, lot, "5.5")
    assert (counted.found, lot.on_hand) == (Decimal("9.5"), Decimal("9.5"))


# Evaporation


def test_evaporation_keeps_the_odorant_and_raises_the_strength(bench: Workbench) -> None:
    """new = old × book/actual: 10 g of linalool in 100 g are 12.5 % of the 80 g that are left."""
    lot = bench.bottle("linalool@10% 100g")
    count(bench, lot, "80", "evaporated")
    assert (last_movement(lot).reason, last_movement(lot).mass) == (Reason.EVAPORATED, 20)
    assert lot.actual_strength == Decimal("0.125")
    assert contents(lot) == {"linalool": Decimal("0.125"), "ethanol": Decimal("0.875")}
    assert contents(lot)["linalool"] * lot.on_hand == 10
    assert lot.declared_strength == Decimal("0.1")


def test_evaporating_twice_multiplies_the_factors(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g")
    count(bench, lot, "80", "evaporated")
    count(bench, lot, "50", "evaporated")
    assert (lot.actual_strength, lot.concentration, lot.contents_revision) == (Decimal("0.2"), 2, 2)
    assert [contents(lot, revision)["linalool"] for revision in (0, 1, 2)] == [
        Decimal("0.1"),
        Decimal("0.125"),
        Decimal("0.2"),
    ]


def test_all_the_solvent_may_evaporate_and_then_the_odorant_is_neat(bench: Workbench) -> None:
    lot = bench.bottle("vanillin@10% 100g")
    count(bench, lot, "10", "evaporated")
    assert lot.actual_strength == 1
    assert contents(lot) == {"vanillin": Decimal(1)}


@pytest.mark.parametrize("net", ["9.999999", "0"])
def test_more_than_the_solvent_cannot_have_evaporated(bench: Workbench, net: str) -> None:
    lot = bench.bottle("vanillin@10% 100g")
    with pytest.raises(LossExceedsSolvent):
        count(bench, lot, net, "evaporated")
    lot.refresh_from_db()
    assert (lot.on_hand, lot.contents_revision) == (100, 0)


def test_a_neat_odorant_does_not_evaporate(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    for net in ("9.9", "0"):
        with pytest.raises(LossExceedsSolvent):
            count(bench, lot, net, "evaporated")


def test_a_solvent_that_evaporates_stays_what_it_is(bench: Workbench) -> None:
    lot = bench.bottle("ethanol 100g")
    count(bench, lot, "60", "evaporated")
    assert (lot.actual_strength, contents(lot)) == (1, {"ethanol": Decimal(1)})


def test_of_a_solvent_in_a_solvent_the_strength_is_what_its_contents_say(bench: Workbench) -> None:
    """How the vapour of alcohol and water divides is not known and not guessed, so 96 % stay 96 %."""
    lot = bench.bottle("ethanol@96%/water 100g")
    count(bench, lot, "98", "evaporated")
    assert lot.actual_strength == contents(lot)["ethanol"] == Decimal("0.96")


def test_a_solvent_may_evaporate_to_the_last_drop(bench: Workbench) -> None:
    lot = bench.bottle("ethanol 100g")
    count(bench, lot, "0", "evaporated")
    assert (lot.on_hand, lot.emptied_at) == (0, bench.now)


def test_a_residue_is_no_longer_the_liquid_it_was(bench: Workbench) -> None:
    lot = bench.bottle("ethanol 1000g")
    with pytest.raises(DriedUp):
        count(bench, lot, "0.1", "evaporated")
    count(bench, lot, "0.100001", "evaporated")
    assert lot.on_hand == Decimal("0.100001")


def test_what_is_left_bears_the_whole_cost(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g", price=Decimal(60))
    count(bench, lot, "80", "evaporated")
    assert lot.cost_per_gram == Decimal("0.75")
    assert lot.cost_per_gram * lot.on_hand == 60


def test_uncertainties_rise_with_the_strength_and_keep_twelve_places(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g", purity=Decimal("0.97"))
    assert lot.strength_u == Decimal("0.001732051")
    count(bench, lot, "80", "evaporated")
    assert lot.strength_u == Decimal("0.00216506375")


def test_what_was_made_before_keeps_what_went_into_it(bench: Workbench) -> None:
    stock = bench.bottle("linalool@10% 100g")
    bench.bottle("ethanol 100g")
    formula = bench.formula("tenth of it", "linalool@10% 1", "ethanol 9")
    before = bench.make(formula, "10")
    count(bench, stock, "79.2", "evaporated")
    before.refresh_from_db()
    assert contents(before)["linalool"] == Decimal("0.01")
    poured = Movement.objects.get(source=stock, target=before)
    assert (poured.source_revision, poured.source_concentration) == (0, 1)

    after = bench.plan(formula, "10")
    bench.reserve(after)
    bench.weigh_all(after)
    made = bench.close(after, strength_decision="declare actual")
    # 99 g became 79.2 g: 0.1 × 99/79.2 = 0.125 in the stock
    poured = Movement.objects.get(source=stock, target=made)
    assert (poured.source_revision, poured.source_concentration) == (1, Decimal("1.25"))
    assert contents(made)["linalool"] * made.on_hand == poured.mass * Decimal("0.125")
    assert_everything_holds()


def test_a_pour_made_before_the_evaporation_and_closed_after_it_was_of_the_old_strength(
    bench: Workbench,
) -> None:
    stock = bench.bottle("linalool@10% 100g")
    bench.bottle("ethanol 100g")
    batch = bench.plan(bench.formula("tenth of it", "linalool@10% 1", "ethanol 9"), "100")
    bench.reserve(batch)
    bench.weigh_all(batch)
    count(bench, stock, "72", "evaporated")
    assert (stock.on_hand, stock.actual_strength) == (82, Decimal("0.125"))
    made = bench.close(batch)
    assert contents(made)["linalool"] == Decimal("0.01")
    stock.refresh_from_db()
    assert stock.on_hand == 72
    assert_everything_holds()


# Discarding


def test_a_part_or_all_of_a_lot_is_discarded(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    throw_away(bench, lot, mass=Decimal(3))
    assert lot.on_hand == 7
    throw_away(bench, lot)
    assert (lot.on_hand, lot.emptied_at) == (0, bench.now)
    assert last_movement(lot).why == "old"


def test_what_is_claimed_is_not_discarded_unknowingly(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    reserved_batch(bench)
    throw_away(bench, lot, mass=Decimal(5))
    with pytest.raises(StillClaimed) as refusal:
        throw_away(bench, lot, mass=Decimal("0.000001"))
    assert refusal.value.extra == {"lot": lot.number, "reserved": 5, "available": 0}
    throw_away(bench, lot, despite_claims=True)
    assert (lot.on_hand, lot.reserved) == (0, 5)
    assert_everything_holds()


def test_what_a_batch_has_poured_is_no_longer_there_to_be_discarded(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    batch = reserved_batch(bench)
    bench.weigh(batch, 1, "4")
    with pytest.raises(NotEnoughOnHand):
        throw_away(bench, lot, mass=Decimal("6.000001"), despite_claims=True)
    throw_away(bench, lot, despite_claims=True)
    assert lot.on_hand == 4
    bench.weigh(batch, 2, "4")
    bench.close(batch)
    lot.refresh_from_db()
    assert lot.on_hand == 0
    assert_everything_holds()


def test_an_empty_lot_is_discarded_without_a_movement(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    throw_away(bench, lot)
    throw_away(bench, lot)
    assert Movement.objects.filter(source=lot).count() == 1
