"""Which lots a wanted amount is taken from, and how much of each."""

import itertools
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calc.claims import BadAmount, BadLots, ShelfLot, in_claim_order, split_across

DAY = date(2026, 1, 15)
SMALLEST = Decimal("0.02")


def lot(number, available, *, strength="0.1", expires=None, opened=True, held=False, material=1):
    return ShelfLot(
        id=number,
        number=f"26-{number:04d}",
        material=material,
        strength=Decimal(strength),
        solvents={9: 1 - Decimal(strength)},
        available=Decimal(available),
        expires_on=expires,
        opened=opened,
        held=held,
    )


def split(odorant, lots, smallest=SMALLEST, **more):
    return split_across(Decimal(odorant), lots, on=DAY, smallest=smallest, **more)


def taken(found):
    return [(take.lot, str(take.mass)) for take in found.takes]


def test_the_lot_that_expires_first_goes_first():
    later, sooner = lot(1, "5", expires=date(2026, 5, 1)), lot(2, "5", expires=date(2026, 2, 1))
    assert taken(split("0.1", [later, sooner])) == [(2, "1.000000")]


def test_a_lot_that_never_expires_goes_last():
    assert taken(split("0.1", [lot(1, "5"), lot(2, "5", expires=date(2030, 1, 1))])) == [(2, "1.000000")]


def test_of_two_that_expire_together_the_open_one_goes_first_then_the_lower_id():
    assert [one.id for one in in_claim_order([lot(3, "5"), lot(1, "5", opened=False), lot(2, "5")], DAY)] == [
        2,
        3,
        1,
    ]


def test_one_lot_that_serves_all_goes_before_two_of_which_one_expires_sooner():
    sooner, enough = lot(1, "0.5", expires=date(2026, 2, 1)), lot(2, "5")
    assert taken(split("0.1", [sooner, enough])) == [(2, "1.000000")]


def test_lots_of_different_actual_strength_add_up_in_odorant():
    found = split("0.1", [lot(1, "0.8", strength="0.098"), lot(2, "0.9", strength="0.102")])
    assert taken(found) == [(1, "0.800000"), (2, "0.211765")]
    assert found.missing == 0


def test_the_pour_before_is_shortened_so_that_the_last_is_no_crumb():
    found = split("0.101", [lot(1, "1"), lot(2, "0.5")])
    assert taken(found) == [(1, "0.990000"), (2, "0.020000")]
    assert not any(take.flagged for take in found.takes)


def test_a_lot_is_left_alone_when_pouring_it_as_well_would_make_crumbs():
    first, second, third = lot(1, "0.021"), lot(2, "0.021"), lot(3, "0.030")
    assert taken(split("0.0045", [first, second, third])) == [(1, "0.021000"), (3, "0.024000")]


def test_crumbs_that_cannot_be_helped_are_taken_and_flagged():
    found = split("0.001", [lot(1, "5")])
    assert taken(found) == [(1, "0.010000")]
    assert found.takes[0].flagged


def test_a_lot_below_the_smallest_pour_is_taken_only_after_those_that_hold_one():
    found = split("0.0065", [lot(1, "0.015"), lot(2, "0.05")])
    assert taken(found) == [(2, "0.050000"), (1, "0.015000")]
    assert [take.flagged for take in found.takes] == [False, True]


def test_what_the_lots_do_not_have_is_missing_in_odorant():
    found = split("0.2", [lot(1, "0.5"), lot(2, "1", strength="0.05")])
    assert taken(found) == [(1, "0.500000"), (2, "1.000000")]
    assert found.missing == Decimal("0.1")


def test_no_lots_leave_everything_missing():
    assert split("0.2", []).missing == Decimal("0.2")


def test_expired_and_held_lots_are_left_alone_unless_allowed():
    expired, held = lot(1, "5", expires=date(2026, 1, 14)), lot(2, "5", held=True)
    assert split("0.1", [expired, held]).takes == ()
    assert taken(split("0.1", [expired, held], allowed={1})) == [(1, "1.000000")]
    assert taken(split("0.1", [expired, held], allowed={2})) == [(2, "1.000000")]


def test_a_lot_may_be_used_on_the_day_it_expires():
    assert lot(1, "5", expires=DAY).usable(DAY)
    assert lot(1, "5", expires=date(2026, 1, 14)).unusable_because(DAY) == "expired on 2026-01-14"


def test_an_empty_lot_is_not_usable_even_if_allowed():
    assert in_claim_order([lot(1, "0")], DAY, allowed={1}) == []


@pytest.mark.parametrize("wanted", ["0", "-1", "NaN", "Infinity"])
def test_a_wanted_amount_that_is_none_is_refused(wanted):
    with pytest.raises(BadAmount, match="more than 0 g"):
        split(wanted, [lot(1, "5")])


@pytest.mark.parametrize("smallest", ["-0.1", "NaN"])
def test_a_smallest_pour_that_is_none_is_refused(smallest):
    with pytest.raises(BadAmount, match="cannot be below"):
        split("1", [lot(1, "5")], Decimal(smallest))


def test_every_fault_of_the_lots_is_named_at_once():
    lots = [
        replace(lot(1, "5"), strength=Decimal("1.1")),
        replace(lot(2, "5"), available=Decimal("NaN")),
        replace(lot(3, "5"), solvents={9: Decimal("0.95")}),
        replace(lot(4, "5"), solvents={9: Decimal("-0.1")}),
        lot(5, "5"),
        lot(5, "5"),
    ]
    with pytest.raises(BadLots) as refusal:
        split("1", lots)
    assert set(refusal.value.errors) == {
        "lots",
        "lots.1.strength",
        "lots.2.available",
        "lots.3.solvents",
        "lots.4.solvents",
    }


def test_lots_of_several_materials_are_refused():
    with pytest.raises(BadLots, match="several materials"):
        split("1", [lot(1, "5"), lot(2, "5", material=2)])


masses = st.sampled_from(["0.010", "0.020", "0.025", "0.030", "0.034", "0.05", "0.3", "1.234567"])
strengths = st.sampled_from(["0.098", "0.1", "0.102", "0.2"])


@st.composite
def stands(draw):
    count = draw(st.integers(1, 5))
    return [
        lot(
            number + 1,
            draw(masses),
            strength=draw(strengths),
            expires=draw(st.sampled_from([None, date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1)])),
            opened=draw(st.booleans()),
        )
        for number in range(count)
    ]


wanted_amounts = st.integers(1, 60_000).map(lambda count: Decimal(count).scaleb(-6))


@settings(max_examples=250, deadline=None)
@given(stands(), wanted_amounts)
def test_odorant_adds_up_no_lot_gives_more_than_it_has_and_every_crumb_is_flagged(lots, wanted):
    found = split_across(wanted, lots, on=DAY, smallest=SMALLEST)
    by_id = {one.id: one for one in lots}
    odorant = sum((take.mass * by_id[take.lot].strength for take in found.takes), Decimal(0))
    assert abs(odorant + found.missing - wanted) <= Decimal("0.000001") * (1 + len(found.takes))
    for take in found.takes:
        assert 0 < take.mass <= by_id[take.lot].available
        assert take.flagged == (take.mass < SMALLEST)


@settings(max_examples=250, deadline=None)
@given(stands(), wanted_amounts)
def test_crumbs_are_taken_exactly_when_no_set_of_lots_does_without(lots, wanted):
    found = split_across(wanted, lots, on=DAY, smallest=SMALLEST)
    usable = [one for one in lots if one.usable(DAY) and one.available >= SMALLEST]
    sets = itertools.chain.from_iterable(itertools.combinations(usable, n) for n in range(1, len(usable) + 1))
    possible = any(
        sum(Fraction(SMALLEST * one.strength) for one in some)
        <= Fraction(wanted)
        <= sum(Fraction(one.available * one.strength) for one in some)
        for some in sets
    )
    assert possible == (found.missing == 0 and not any(take.flagged for take in found.takes))


@given(st.permutations(range(5)), wanted_amounts)
@settings(max_examples=60, deadline=None)
def test_the_order_in_which_lots_are_given_does_not_matter(order, wanted):
    lots = [
        lot(n + 1, mass, strength=q)
        for n, (mass, q) in enumerate(
            zip(["0.02", "0.03", "0.034", "0.3", "0.01"], ["0.1", "0.098", "0.2", "0.1", "0.1"], strict=True)
        )
    ]
    assert split("0.006", [lots[at] for at in order]) == split("0.006", lots)
    assert split_across(wanted, [lots[at] for at in order], on=DAY, smallest=SMALLEST) == split_across(
        wanted, lots, on=DAY, smallest=SMALLEST
    )


def test_many_nearly_empty_lots_are_searched_through_at_once():
    lots = [
        lot(number, "0.0212", strength=("0.0998", "0.1", "0.1003")[number % 3]) for number in range(1, 61)
    ]
    found = split("0.0214", lots)
    assert found.missing == 0
    assert sum(take.flagged for take in found.takes) == 1
