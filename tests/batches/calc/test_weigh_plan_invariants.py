"""What holds for every weigh plan, whatever the shelf: masses, lots, crumbs, bounds, pins, and the same plan always."""

import random
from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches.calc.weigh_check import HandPour, check_plan
from batches.calc.weigh_plan import NoPlan, plan_weighing
from batches.calc.weigh_request import BadWeighRequest, Pin
from tests.batches.calc.random_shelves import random_request

D = Decimal
MICROGRAM = D("0.000001")


def well_stocked(seed, **shape):
    """A random request with so much on the shelf that there nearly always is a plan."""
    asked = random_request(seed, **shape)
    return replace(asked, lots=tuple(replace(lot, available=lot.available * 20) for lot in asked.lots))


def plan_or_none(asked):
    try:
        return plan_weighing(asked)
    except NoPlan:
        return None


def with_pins(asked, seed):
    """Some lines pinned to one or two of their lots, with or without grams."""
    chance = random.Random(seed)
    pins = {}
    for line in asked.lines:
        lots = [lot for lot in asked.lots if lot.material == line.material and lot.usable(asked.on)]
        if lots and chance.random() < 0.5:
            chosen = chance.sample(lots, chance.randint(1, min(2, len(lots))))
            pins[line.key] = tuple(Pin(lot.id, _some_grams(chance, lot)) for lot in chosen)
    return replace(asked, pins=pins)


def _some_grams(chance, lot):
    return None if chance.random() < 0.7 else min(lot.available, D(chance.randint(1, 60_000)).scaleb(-6))


def assert_sound(asked, plan):
    lots = {lot.id: lot for lot in asked.lots}
    flagged = {(flag.line, flag.lot) for flag in plan.flags}
    assert sum(pour.mass for pour in plan.pours) == asked.total
    taken = Counter()
    for pour in plan.pours:
        taken[pour.lot] += pour.mass
        assert pour.mass > 0
        assert pour.mass % MICROGRAM == 0
        assert (pour.mass < asked.smallest) == ((pour.line, pour.lot) in flagged)
        assert lots[pour.lot].usable(asked.on)
    for lot, mass in taken.items():
        assert mass <= lots[lot].available


@pytest.mark.parametrize("shape", [{}, {"bounds": True}, {"free": 0}], ids=["free", "bounded", "no-free"])
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(5_000_000, 6_000_000))
def test_masses_add_up_no_lot_gives_too_much_and_no_crumb_is_unflagged(shape, seed):
    asked = well_stocked(seed, **shape)
    plan = plan_or_none(asked)
    if plan is not None:
        assert_sound(asked, plan)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(5_000_000, 6_000_000))
def test_the_check_finds_nothing_but_flagged_pours_in_a_plan(seed):
    asked = well_stocked(seed, bounds=seed % 2 == 0)
    plan = plan_or_none(asked)
    if plan is not None:
        found = check_plan(asked, [HandPour(pour.line, pour.lot, pour.mass) for pour in plan.pours])
        assert {fault.kind for fault in found.faults} <= {"crumb"}
        assert (found.strength, found.solvents, found.changes) == (plan.strength, plan.solvents, plan.changes)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(5_000_000, 6_000_000))
def test_pins_are_kept_to_the_letter(seed):
    asked = with_pins(well_stocked(seed), seed)
    try:
        plan = plan_or_none(asked)
    except BadWeighRequest:
        return
    if plan is None:
        return
    assert_sound(asked, plan)
    for key, pins in asked.pins.items():
        poured = {pour.lot: pour.mass for pour in plan.pours if pour.line == key}
        assert set(poured) <= {pin.lot for pin in pins}
        assert all(poured[pin.lot] == pin.mass for pin in pins if pin.mass is not None)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(5_000_000, 6_000_000), shuffle=st.randoms(use_true_random=False))
def test_the_order_of_lines_and_lots_does_not_matter_and_the_plan_is_the_same_always(seed, shuffle):
    asked = well_stocked(seed)
    lines, lots = list(asked.lines), list(asked.lots)
    shuffle.shuffle(lines)
    shuffle.shuffle(lots)
    assert plan_or_none(replace(asked, lines=tuple(lines), lots=tuple(lots))) == plan_or_none(asked)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(5_000_000, 6_000_000))
def test_odorant_is_exact_but_for_rounding_raised_pours_and_the_common_factor(seed):
    asked = well_stocked(seed)
    plan = plan_or_none(asked)
    if plan is None:
        return
    lots = {lot.id: lot for lot in asked.lots}
    solvents = {line.key for line in asked.lines if line.is_solvent}
    rounding = MICROGRAM * len(plan.pours)
    for line in plan.lines:
        if line.line in solvents:
            continue
        mine = [pour for pour in plan.pours if pour.line == line.line]
        off = line.poured - line.wanted
        raised = any(pour.mass == asked.smallest for pour in mine)
        most = asked.tolerance * line.wanted if raised else 0
        slack = rounding * max(lots[pour.lot].strength for pour in mine)
        assert -slack <= off <= most + slack
