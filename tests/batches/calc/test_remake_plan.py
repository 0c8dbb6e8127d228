"""The remake plan, case by case: netting, timing, lot sizes, packs, obstacles, and what if."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest

from batches.calc.remake_days import MOST_EXACT, Task, order_of_work
from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import (
    BadRemakeRequest,
    Demand,
    Input,
    Item,
    ItemKey,
    Offer,
    Receipt,
    Recipe,
    RemakeRequest,
    Reserved,
    StockLot,
)
from batches.calc.remake_result import Obstacle, PegSort, SizeReason
from batches.calc.remake_what_if import can_make_by, earliest_possible

TODAY = date(2026, 3, 2)
ETHANOL, NEAT = ItemKey(9), ItemKey(1)
TEN, ONE = ItemKey(1, Decimal("0.1"), 9), ItemKey(1, Decimal("0.01"), 9)


def day(number):
    return TODAY + timedelta(number)


def grams(text):
    return Decimal(text)


def wanted(item, on, mass, ref="b1"):
    return Demand(ref, ref, item, day(on), grams(mass))


def lot(item, mass, number=1, start=None, end=None, held=False):
    return StockLot(
        number, f"26-{number}", item, grams(mass), None if start is None else day(start), None if end is None else day(end), held
    )  # fmt: skip


def studio(*, low="0", full=None, life=None, ten=None, one=None, **given):
    """Linalool neat, 10 % and 1 % in ethanol; the dilutions rest two days, the bottles take seven and two to come."""
    items = (
        Item(ETHANOL, "ethanol"),
        Item(NEAT, "linalool"),
        Item(TEN, "linalool 10 %"),
        Item(ONE, "linalool 1 %", grams(low), None if full is None else grams(full), life),
    )
    recipes = (
        Recipe(TEN, (Input(NEAT, Decimal(1)), Input(ETHANOL, Decimal(9))), resting_days=2, **(ten or {})),
        Recipe(ONE, (Input(TEN, Decimal(1)), Input(ETHANOL, Decimal(9))), resting_days=2, **(one or {})),
    )
    offers = (
        Offer(1, 1, "Anders", NEAT, Decimal(10), Decimal(5), 7),
        Offer(2, 1, "Anders", ETHANOL, Decimal(1000), Decimal(9), 2),
    )
    known = {"items": items, "recipes": recipes, "offers": offers, "today": TODAY, "until": day(60)}
    return RemakeRequest(**(known | given))


def made(plan):
    return [(row.name, (row.start_on - TODAY).days, str(row.mass.normalize())) for row in plan.makings]


def test_a_need_is_exploded_to_the_bottles_and_set_off_by_resting_and_delivery():
    plan = plan_remakes(studio(demands=(wanted(ONE, 20, "10"),), lots=(lot(TEN, "0.4"),)))
    assert made(plan) == [("linalool 10 %", 16, "0.6"), ("linalool 1 %", 18, "1E+1")]
    assert [(row.name, (row.order_on - TODAY).days) for row in plan.purchases] == [
        ("linalool", 9),
        ("ethanol", 14),
    ]
    assert plan.levels == {ONE: 0, TEN: 1, NEAT: 2, ETHANOL: 2}
    assert not plan.late


def test_what_is_on_hold_expired_or_still_resting_is_not_used():
    stock = (
        lot(ONE, "9", 1, held=True),
        lot(ONE, "9", 2, end=4),
        lot(ONE, "9", 3, start=6),
        lot(ONE, "2", 4),
    )
    plan = plan_remakes(
        studio(demands=(wanted(ONE, 5, "3"),), lots=(*stock, lot(TEN, "5", 5), lot(ETHANOL, "50", 6)))
    )
    assert made(plan) == [("linalool 1 %", 3, "1")]


def test_a_lot_is_used_on_its_last_good_day_and_the_one_that_expires_first_goes_first():
    stock = (lot(ONE, "3", 1), lot(ONE, "3", 2, end=5))
    plan = plan_remakes(studio(demands=(wanted(ONE, 5, "4"),), lots=stock))
    assert [(one.source.ref, one.source.mass) for one in plan.allotments] == [("2", 3), ("1", 1)]


def test_an_input_outlives_what_is_made_of_it_until_that_is_used():
    stock = (lot(TEN, "5", 1, end=19), lot(TEN, "5", 2, end=20), lot(ETHANOL, "50", 3))
    plan = plan_remakes(studio(demands=(wanted(ONE, 20, "10"),), lots=stock))
    assert [source.ref for source in plan.makings[0].inputs[0].sources] == ["2"]


def test_what_open_batches_bring_is_counted_from_its_day():
    coming = (Receipt("B7", "batch 7", ONE, day(6), grams("10")),)
    plan = plan_remakes(studio(demands=(wanted(ONE, 6, "4"), wanted(ONE, 9, "6", "b2")), receipts=coming))
    assert not plan.rows
    assert not plan.late


def test_what_will_expire_unused_is_told():
    plan = plan_remakes(studio(lots=(lot(ONE, "32", end=10),)))
    assert plan.expiries[0].sentence == (
        "32 g of linalool 1 % (lot 26-1) will expire on 2026-03-12 before anything uses it."
    )


def test_a_par_is_filled_up_to_full_as_soon_as_it_can_be():
    plan = plan_remakes(
        studio(low="5", full="20", lots=(lot(ONE, "4"), lot(TEN, "9", 2), lot(ETHANOL, "99", 3)))
    )
    assert made(plan) == [("linalool 1 %", 0, "16")]
    assert [peg.sort for peg in plan.makings[0].pegs] == [PegSort.PAR]
    assert not plan.makings[0].late


def test_no_more_is_made_than_is_used_before_it_expires():
    stock = (lot(TEN, "9", 2), lot(ETHANOL, "99", 3))
    plan = plan_remakes(
        studio(low="5", full="50", life=30, until=day(31), lots=stock, demands=(wanted(ONE, 20, "7"),))
    )
    assert made(plan)[0] == ("linalool 1 %", 0, "12")
    assert plan.makings[0].why_so_much is SizeReason.SHELF_LIFE


def test_a_batch_too_small_to_weigh_is_made_larger_and_one_too_large_for_the_container_in_two():
    stock = (lot(TEN, "9", 2), lot(ETHANOL, "99", 3))
    small = plan_remakes(studio(one={"smallest": Decimal(5)}, lots=stock, demands=(wanted(ONE, 9, "2"),)))
    assert made(small) == [("linalool 1 %", 7, "5")]
    large = plan_remakes(studio(one={"largest": Decimal(10)}, lots=stock, demands=(wanted(ONE, 9, "15"),)))
    assert made(large) == [("linalool 1 %", 7, "7.5")] * 2


def test_needs_are_joined_while_keeping_costs_less_than_another_making():
    stock = (lot(TEN, "90", 2), lot(ETHANOL, "999", 3))
    needs = (wanted(ONE, 9, "10"), wanted(ONE, 19, "10", "b2"))
    apart = plan_remakes(studio(lots=stock, demands=needs, making_worth=Decimal(99)))
    joined = plan_remakes(studio(lots=stock, demands=needs, making_worth=Decimal(100)))
    assert (len(apart.makings), len(joined.makings)) == (2, 1)


def test_a_need_that_could_be_met_in_time_is_not_made_late_by_joining_it_with_others():
    stock = (lot(NEAT, "0.1"), lot(ETHANOL, "999", 2))
    needs = (wanted(TEN, 3, "1"), wanted(TEN, 10, "1", "b2"))
    plan = plan_remakes(studio(lots=stock, demands=needs))
    assert made(plan) == [("linalool 10 %", 1, "1"), ("linalool 10 %", 8, "1")]
    assert not plan.late


def test_a_row_that_should_have_begun_is_late_and_says_when_it_can_be_ready():
    plan = plan_remakes(studio(demands=(wanted(ONE, 3, "10"),), lots=(lot(ETHANOL, "99"),)))
    assert all(row.late for row in plan.rows.values())
    assert plan.late[0].ready_on == day(7 + 2 + 2)
    assert "It should have been" not in plan.makings[0].sentences[0]


def test_demand_in_the_past_is_served_today():
    assert not plan_remakes(studio(demands=(wanted(ONE, -9, "1"),), lots=(lot(ONE, "1"),))).late
    late = plan_remakes(
        studio(demands=(wanted(ONE, -9, "1"),), lots=(lot(TEN, "1"), lot(ETHANOL, "9", 2)))
    ).late
    assert late[0].ready_on == day(2)


def test_what_nobody_makes_or_sells_is_short_by_the_way_down_to_it():
    plan = plan_remakes(
        studio(offers=(), demands=(wanted(ONE, 9, "10"),), lots=(lot(ETHANOL, "99"), lot(NEAT, "0.04", 2)))
    )
    shortage = plan.shortages[0]
    assert (shortage.obstacle, shortage.for_want_of, shortage.mass) == (Obstacle.NO_ROUTE, NEAT, 6)
    assert shortage.path == ("linalool 1 %", "linalool 10 %", "linalool")
    assert made(plan) == [("linalool 10 %", 5, "0.4"), ("linalool 1 %", 7, "4")]


def test_a_cycle_is_named_with_its_path():
    first, second = ItemKey(1), ItemKey(2)
    plan = plan_remakes(
        RemakeRequest(
            TODAY,
            day(30),
            (Item(first, "amber"), Item(second, "wood")),
            demands=(wanted(first, 9, "5"),),
            recipes=(
                Recipe(first, (Input(second, Decimal(1)),)),
                Recipe(second, (Input(first, Decimal(1)),)),
            ),
        )
    )
    assert plan.shortages[0].obstacle is Obstacle.CYCLE
    assert "amber → wood → amber" in plan.shortages[0].sentence
    assert not plan.rows


def test_what_expires_before_it_is_rested_is_never_begun():
    plan = plan_remakes(studio(life=1, demands=(wanted(ONE, 9, "5"),)))
    assert plan.shortages[0].obstacle is Obstacle.TOO_SHORT_LIVED
    assert not plan.rows


def test_without_any_lead_time_everything_happens_on_one_day_parents_first():
    keys = [ItemKey(number) for number in range(1, 12)]
    plan = plan_remakes(
        RemakeRequest(
            TODAY,
            day(30),
            tuple(Item(key, f"level {number}") for number, key in enumerate(keys)),
            demands=(wanted(keys[0], 0, "5"),),
            recipes=tuple(Recipe(above, (Input(below, Decimal(1)),)) for above, below in pairwise(keys)),
            lots=(lot(keys[-1], "5"),),
        )
    )
    assert [row.name for row in plan.makings] == [f"level {number}" for number in range(9, -1, -1)]
    assert plan.days[0].rows == tuple(row.key for row in plan.makings)
    assert plan.levels[keys[-1]] == 10
    assert not plan.late


def test_ten_levels_down_a_late_bottle_makes_everything_late_by_as_much():
    keys = [ItemKey(number) for number in range(1, 12)]
    plan = plan_remakes(
        RemakeRequest(
            TODAY,
            day(60),
            tuple(Item(key, f"level {number}") for number, key in enumerate(keys)),
            demands=(wanted(keys[0], 12, "5"),),
            recipes=tuple(
                Recipe(above, (Input(below, Decimal(1)),), making_days=1) for above, below in pairwise(keys)
            ),
            offers=(Offer(1, 1, "Anders", keys[-1], Decimal(5), Decimal(1), 5),),
        )
    )
    assert plan.late[0].ready_on == day(15)
    assert len(plan.makings) == 10


def test_packs_cost_the_least_with_price_breaks_and_the_quicker_supplier_only_where_it_must_be():
    offers = (
        Offer(1, 1, "Anders", NEAT, Decimal(10), Decimal(5), 7),
        Offer(2, 1, "Anders", NEAT, Decimal(10), Decimal(3), 7, from_packs=4),
        Offer(3, 1, "Anders", NEAT, Decimal(50), Decimal(14), 7),
        Offer(4, 2, "Berta", NEAT, Decimal(10), Decimal(9), 1),
    )
    slow = plan_remakes(studio(offers=offers, demands=(wanted(NEAT, 9, "30"),))).purchases[0]
    assert (slow.cost, [(pack.offer, pack.count) for pack in slow.packs]) == (12, [(2, 4)])
    quick = plan_remakes(studio(offers=offers, demands=(wanted(NEAT, 3, "30"),))).purchases[0]
    assert (quick.supplier, quick.cost, quick.late) == (2, 27, False)


def test_a_mass_chosen_by_hand_is_followed_and_what_it_leaves_unmet_is_told():
    stock = (lot(TEN, "9", 2), lot(ETHANOL, "99", 3))
    needs = (wanted(ONE, 9, "5"),)
    key = plan_remakes(studio(lots=stock, demands=needs)).makings[0].key
    less = plan_remakes(studio(lots=stock, demands=needs, kept_masses={key: Decimal(3)}))
    assert made(less) == [("linalool 1 %", 7, "3")]
    assert [(one.obstacle, one.mass) for one in less.shortages] == [(Obstacle.BY_HAND, 2)]
    none = plan_remakes(studio(lots=stock, demands=needs, kept_masses={key: Decimal(0)}))
    assert (made(none), none.shortages[0].mass) == ([], 5)


def test_whether_it_can_be_made_by_friday_and_if_not_what_is_missing_and_when():
    stock = (lot(TEN, "1", 2), lot(ETHANOL, "99", 3))
    yes = can_make_by(studio(lots=stock), {ONE: Decimal(10)}, day(4))
    assert yes.yes
    assert [row.name for row in yes.to_do] == ["linalool 1 %"]
    no = can_make_by(studio(lots=stock), {ONE: Decimal(11)}, day(4))
    assert not no.yes
    assert [(one.item, one.mass, one.ready_on) for one in no.missing] == [(ONE, 1, day(11))]
    assert earliest_possible(studio(lots=stock, offers=()), {ONE: Decimal(11)}) is None


def test_it_cannot_be_made_when_only_others_would_wait_for_it():
    others = (wanted(ONE, 6, "10"),)
    answer = can_make_by(studio(lots=(lot(ONE, "10"),), demands=others), {ONE: Decimal(1)}, day(4))
    assert not answer.yes
    assert [one.ref for one in answer.delayed] == ["b1"]


def test_every_fault_of_a_request_is_told_at_once():
    with pytest.raises(BadRemakeRequest) as refused:
        plan_remakes(studio(until=day(-1), demands=(wanted(ItemKey(77), 3, "1"),), lots=(lot(ONE, "-1"),)))
    assert {"until", "demands.0.item", "lots.0.mass"} <= set(refused.value.errors)


def test_each_container_is_taken_in_hand_as_few_times_as_can_be():
    tasks = [
        Task("a", frozenset("xp")),
        Task("b", frozenset("yq")),
        Task("c", frozenset("xy")),
        Task("d", frozenset("pz")),
    ]
    order = order_of_work(tasks)
    assert order.exact
    assert order.times_in_hand == 8 - 3


def test_large_days_keep_parents_before_children_and_are_not_worse_than_as_listed():
    tasks = [
        Task(
            str(n),
            frozenset({f"bottle {n * 7 % 5}", f"bottle {n * 3 % 7}", "all"}),
            frozenset({str(n - 6)} if n >= 6 else ()),
        )
        for n in range(3 * MOST_EXACT)
    ]
    order = order_of_work(tasks)
    assert all(order.keys.index(str(n - 6)) < order.keys.index(str(n)) for n in range(6, len(tasks)))
    assert not order.exact
    listed = sum(len(b.containers - a.containers) for a, b in pairwise(tasks)) + 3
    assert order.times_in_hand < listed


def test_what_keeps_for_a_day_is_not_made_for_a_par_that_has_to_last():
    """What a par is made of has to keep too, also where it can only be made of what happens to come."""
    base, fresh, root = ItemKey(3), ItemKey(4), ItemKey(5)
    plan = plan_remakes(
        RemakeRequest(
            today=TODAY,
            until=day(20),
            items=(
                Item(base, "base", low=Decimal(2), full=Decimal(2)),
                Item(fresh, "fresh tincture", shelf_life_days=0),
                Item(root, "root"),
            ),
            receipts=(Receipt("r", "batch r", root, TODAY, Decimal(2)),),
            recipes=(Recipe(base, (Input(fresh, Decimal(1)),)), Recipe(fresh, (Input(root, Decimal(1)),))),
        )
    )
    assert plan.rows == {}
    [shortage] = plan.shortages
    assert (shortage.name, shortage.mass) == ("base", Decimal(2))


def test_what_is_reserved_for_a_later_day_counts_for_the_par_until_then():
    plan = plan_remakes(
        RemakeRequest(
            today=TODAY,
            until=day(20),
            items=(
                Item(TEN, "ten", low=Decimal(5), full=Decimal(9)),
                Item(NEAT, "neat"),
                Item(ETHANOL, "ethanol"),
            ),
            lots=(StockLot(1, "1", NEAT, Decimal(50)), StockLot(2, "2", ETHANOL, Decimal(50))),
            reserved=(Reserved(TEN, day(4), Decimal(6)),),
            recipes=(Recipe(TEN, (Input(NEAT, Decimal(1)), Input(ETHANOL, Decimal(9)))),),
        )
    )
    [row] = plan.makings
    assert (row.usable_on, row.mass) == (day(4), Decimal(9))
