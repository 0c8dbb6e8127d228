"""What a formula contains by its recipe: dilutions parted, bases opened, thinned bases in proportion."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.calc.strength import BadFormula, FormulaLine, strength_as_written
from batches.calc.written_contents import contents_as_written, own_strength
from studio.kernel.mass import nearest_fraction

ETHANOL, WATER, LINALOOL, CITRAL, BASE, OTHER_BASE = range(1, 7)
SOLVENTS = {ETHANOL, WATER}


def line(material, parts, strength="1", solvent=None, key=0):
    return FormulaLine(
        key=key,
        material=material,
        name=f"material {material}",
        parts=Decimal(parts),
        strength=Decimal(strength),
        solvent=solvent,
        is_solvent=material in SOLVENTS,
    )


def numbered(*lines):
    return [
        line(one.material, one.parts, one.strength, one.solvent, key=place) for place, one in enumerate(lines)
    ]


HAY = numbered(line(CITRAL, 2, "0.1", ETHANOL), line(ETHANOL, 2))
"""A base of 5 %."""


def test_a_dilution_is_so_much_material_and_the_rest_its_solvent():
    lines = numbered(line(LINALOOL, 4, "0.1", ETHANOL), line(ETHANOL, 6))
    assert contents_as_written(lines, {}) == {LINALOOL: Decimal("0.04"), ETHANOL: Decimal("0.96")}


def test_a_base_is_opened_by_its_recipe():
    lines = numbered(line(BASE, 1, "0.05"), line(LINALOOL, 1))
    assert contents_as_written(lines, {BASE: HAY}) == {
        CITRAL: Decimal("0.025"),
        ETHANOL: Decimal("0.475"),
        LINALOOL: Decimal("0.5"),
    }


def test_a_base_written_weaker_than_it_is_is_thinned_in_that_proportion():
    lines = numbered(line(BASE, 1, "0.01", WATER))
    assert contents_as_written(lines, {BASE: HAY}) == {
        CITRAL: Decimal("0.01"),
        ETHANOL: Decimal("0.19"),
        WATER: Decimal("0.8"),
    }


def test_a_base_in_a_base_is_opened_too_and_one_inside_itself_is_left_closed():
    nested = numbered(line(BASE, 1, "0.05"), line(ETHANOL, 1))
    lines = numbered(line(OTHER_BASE, 1, "0.025"))
    assert contents_as_written(lines, {BASE: HAY, OTHER_BASE: nested})[CITRAL] == Decimal("0.025")
    circular = {BASE: numbered(line(BASE, 1), line(ETHANOL, 1))}
    assert contents_as_written(numbered(line(BASE, 1)), circular) == {
        BASE: Decimal("0.5"),
        ETHANOL: Decimal("0.5"),
    }


def test_the_own_strength_of_a_base_is_its_odorant_share():
    assert own_strength(HAY) == Decimal("0.05")


def test_lines_that_no_contents_follow_from_are_refused():
    with pytest.raises(BadFormula):
        contents_as_written([], {})


AMOUNTS = st.integers(1, 10**6).map(lambda count: Decimal(count) / 1000)


@given(st.lists(st.tuples(st.sampled_from([LINALOOL, CITRAL, ETHANOL]), AMOUNTS), min_size=1, max_size=12))
def test_fractions_add_up_to_the_whole_and_the_odorants_to_the_strength(told):
    lines = numbered(
        *(
            line(material, parts) if material in SOLVENTS else line(material, parts, "0.1", WATER)
            for material, parts in told
        )
    )
    contents = contents_as_written(lines, {})
    assert abs(sum(contents.values()) - 1) <= Decimal("1e-9") * len(contents)
    odorant = sum(share for material, share in contents.items() if material not in SOLVENTS)
    assert abs(odorant - nearest_fraction(strength_as_written(lines))) <= Decimal("1e-9") * len(contents)
