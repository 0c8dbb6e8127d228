"""Strength of a formula as written, its ceiling, restating, and what a stronger stock frees."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches.calc.strength import (
    AboveCeiling,
    BadFormula,
    FormulaLine,
    NoOdorant,
    NotStronger,
    ceiling_as_written,
    holding_down,
    odorant_parts,
    restated,
    restated_solvent_shares,
    solvent_shares,
    strength_as_written,
    strength_report,
    swap,
    swapped,
    total_parts,
)
from studio.kernel.mass import nearest_fraction
from tests.batches.calc.shelves import formula, material

D = Decimal
ETHANOL, GLYCOL = material("ethanol"), material("dipropylene glycol")
FOUR = formula("geraniol@10%/ethanol 4", "vanillin@1%/dipropylene glycol 3", "linalool 0.5", "ethanol 2.5")
"""a = 0.4 + 0.03 + 0.5 = 0.93, T = 10, F = 2.5."""


def test_strength_is_odorant_over_everything_and_the_ceiling_leaves_free_solvent_out():
    assert strength_as_written(FOUR) == D("0.093")
    assert ceiling_as_written(FOUR) == D("0.124")


def test_a_line_shares_in_the_odorant_by_what_it_holds_not_by_its_parts():
    shares = {line.key: line.odorant_share for line in strength_report(FOUR).lines}
    assert nearest_fraction(shares[1]) == nearest_fraction(D("0.4") / D("0.93"))
    assert shares[4] == 0


def test_solvents_are_kept_apart_by_kind():
    assert solvent_shares(FOUR) == {ETHANOL: D("0.61"), GLYCOL: D("0.297")}


def test_a_base_counts_at_its_own_odorant_share_and_its_solvent_is_not_known():
    base = (FormulaLine(1, 50, "base of roses", D(2), D("0.4"), None, False), *formula("ethanol 2")[:0])
    assert strength_as_written(base) == D("0.4")
    assert solvent_shares(base) == {}


def test_restating_multiplies_the_stocks_and_lets_free_solvent_make_up_the_rest():
    grams = {line.key: line.mass for line in restated(FOUR, mass=D(10), strength=D("0.0465"))}
    assert grams == {1: D("2"), 2: D("1.5"), 3: D("0.25"), 4: D("6.25")}


def test_restating_to_the_ceiling_leaves_no_free_solvent():
    grams = {line.key: line.mass for line in restated(FOUR, mass=D(10), strength=D("0.124"))}
    assert grams[4] == 0
    assert sum(grams.values()) == 10


def test_a_ceiling_read_off_with_nine_places_can_be_asked_for():
    thirds = formula("geraniol@10%/ethanol 3", "linalool@1%/ethanol 4", "ethanol 5")
    ceiling = ceiling_as_written(thirds).quantize(D("1e-9"))
    assert ceiling != ceiling_as_written(thirds)
    assert sum(line.mass for line in restated(thirds, mass=D("7.5"), strength=ceiling)) == D("7.5")


def test_several_free_solvents_keep_their_proportions():
    two = formula("geraniol@10%/ethanol 4", "ethanol 4.5", "dipropylene glycol 1.5")
    grams = {line.key: line.mass for line in restated(two, mass=D(10), strength=D("0.02"))}
    assert grams == {1: D(2), 2: D(6), 3: D(2)}


def test_solvents_of_the_restated_formula_are_kept_apart_too():
    assert restated_solvent_shares(FOUR, D("0.0465")) == {ETHANOL: D("0.805"), GLYCOL: D("0.1485")}


def test_above_the_ceiling_is_refused_with_both_numbers_and_the_heaviest_lines():
    with pytest.raises(AboveCeiling, match=r"20 % is wanted.*reach 12.4 %.*geraniol and vanillin") as refusal:
        restated(FOUR, mass=D(10), strength=D("0.2"))
    assert refusal.value.extra == {"wanted": D("0.2"), "ceiling": D("0.124")}


def test_a_lower_strength_needs_a_free_solvent_line():
    with pytest.raises(BadFormula, match="no free solvent line"):
        restated(formula("geraniol@10%/ethanol 4"), mass=D(10), strength=D("0.05"))


def test_the_lines_that_hold_the_strength_down_come_by_the_solvent_they_carry():
    assert [(line.key, line.carried_solvent) for line in holding_down(FOUR)] == [
        (1, D("0.36")),
        (2, D("0.297")),
    ]


def test_a_stronger_stock_frees_the_solvent_it_does_not_bring():
    found = swap(FOUR, key=1, strength=D("0.5"))
    assert (found.mass, found.freed) == (D("0.8"), D("3.2"))
    assert nearest_fraction(found.ceiling) == nearest_fraction(D("0.93") / D("4.3"))
    assert "frees 3.2 g" in found.sentence


def test_a_swap_keeps_the_odorant_and_hands_its_solvent_back():
    after = swapped(FOUR, swap(FOUR, key=1, strength=D("0.5")), solvent=ETHANOL)
    assert odorant_parts(after) == odorant_parts(FOUR)
    assert total_parts(after) == total_parts(FOUR)
    assert solvent_shares(after) == solvent_shares(FOUR)


@pytest.mark.parametrize("strength", ["0.1", "0.05"])
def test_a_stock_that_is_no_stronger_is_refused(strength):
    with pytest.raises(NotStronger, match="no stronger"):
        swap(FOUR, key=1, strength=D(strength))


@pytest.mark.parametrize("key", [4, 99])
def test_only_an_odorant_line_can_be_swapped(key):
    with pytest.raises(BadFormula, match="no odorant line"):
        swap(FOUR, key=key, strength=D("0.5"))


def test_a_formula_without_lines_is_refused():
    with pytest.raises(BadFormula, match="at least one line"):
        strength_as_written(())


def test_solvents_alone_have_no_ceiling():
    assert strength_as_written(formula("ethanol 5")) == 0
    with pytest.raises(NoOdorant):
        ceiling_as_written(formula("ethanol 5"))


def test_every_fault_of_the_lines_is_named_at_once():
    good = FOUR[0]
    lines = [
        replace(good, key=1, parts=D(0)),
        replace(good, key=2, parts=D("NaN")),
        replace(good, key=3, strength=D("1.5")),
        replace(good, key=4, strength=D("NaN")),
        replace(good, key=5, solvent=good.material),
        replace(FOUR[3], key=6, strength=D("0.5")),
        replace(good, key=6),
    ]
    with pytest.raises(BadFormula) as refusal:
        ceiling_as_written(lines)
    assert set(refusal.value.errors) == {
        "lines",
        "lines.0.parts",
        "lines.1.parts",
        "lines.2.strength",
        "lines.3.strength",
        "lines.4.solvent",
        "lines.5.strength",
    }


parts = st.integers(1, 50_000).map(lambda count: D(count).scaleb(-3))


@st.composite
def formulas(draw):
    lines = [
        FormulaLine(
            key,
            key,
            f"m{key}",
            draw(parts),
            draw(st.sampled_from([D(1), D("0.1"), D("0.013"), D("0.001")])),
            ETHANOL,
            False,
        )
        for key in range(1, draw(st.integers(1, 8)) + 1)
    ]
    return (*lines, FormulaLine(99, GLYCOL, "dipropylene glycol", draw(parts), D(1), None, True))


@settings(max_examples=120, deadline=None)
@given(formulas(), st.integers(1, 1000), st.integers(100, 100_000_000))
def test_restated_masses_add_up_exactly_and_keep_every_odorant_share(lines, share, micrograms):
    mass = D(micrograms).scaleb(-6)
    strength = max((ceiling_as_written(lines) * share / 1000).quantize(D("1e-9")), D("1e-9"))
    grams = {line.key: line.mass for line in restated(lines, mass=mass, strength=strength)}
    assert sum(grams.values()) == mass
    odorant = odorant_parts(lines)
    for line in lines:
        assert grams[line.key] >= 0
        if not line.is_solvent:
            wanted = mass * strength * line.parts / odorant
            assert abs(grams[line.key] - wanted) <= D("0.000001") * len(lines)


@settings(max_examples=120, deadline=None)
@given(formulas(), st.sampled_from([D(1), D("0.5"), D("0.2")]))
def test_a_stronger_stock_never_lowers_the_ceiling(lines, stronger):
    for line in lines:
        if not line.is_solvent and line.strength < stronger:
            assert swap(lines, key=line.key, strength=stronger).ceiling >= ceiling_as_written(lines)
