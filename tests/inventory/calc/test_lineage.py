import random
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calc.contents import concentration_of_loss, evaporated, mixed
from inventory.calc.lineage import (
    CircularAncestry,
    MadeMassTooSmall,
    MadeMassUnknown,
    Pour,
    Share,
    making_order,
    nearest_traced_mass,
    shares_back,
    shares_forward,
)
from studio.kernel.mass import BadNumber

D = Decimal
MICROGRAM = Fraction(1, 10**6)


def random_pours(seed, *, lots=8, share=0.45, with_losses=True):
    """Pours among lots in order of making; between two lots there may be two."""
    chance = random.Random(seed)
    pours = []
    for target in range(1, lots):
        for source in range(target):
            for _ in range(2 if chance.random() < 0.1 else 1):
                if chance.random() < share:
                    lost = D(chance.randint(1000, 2500)).scaleb(-3) if with_losses else D(1)
                    mass = D(chance.randint(1, 9_000_000)).scaleb(-6)
                    pours.append(Pour(source, target, mass, lost if chance.random() < 0.5 else D(1)))
    chance.shuffle(pours)
    return pours


def made_masses(pours):
    made = {}
    for pour in pours:
        made[pour.target] = made.get(pour.target, D(0)) + pour.mass
    return made


def by_every_path(pours, made, start, end):
    """Grams of `start` in `end` per gram made of `end`, summed path by path in exact fractions."""
    graph = nx.DiGraph()
    for pour in pours:
        part = Fraction(pour.mass) * Fraction(pour.concentration) / Fraction(made[pour.target])
        old = graph.get_edge_data(pour.source, pour.target, {"part": Fraction(0)})["part"]
        graph.add_edge(pour.source, pour.target, part=old + part)
    if start not in graph or end not in graph:
        return Fraction(0), 0
    total, longest = Fraction(0), 0
    for path in nx.all_simple_paths(graph, start, end):
        product = Fraction(1)
        for a, b in pairwise(path):
            product *= graph[a][b]["part"]
        total += product
        longest = max(longest, len(path) - 1)
    return total, longest


def ladder(rungs):
    """Two lots at every rung, both made of both lots of the rung before: 2**rungs paths."""
    pours = []
    for rung in range(rungs):
        a, b, c, d = range(2 * rung, 2 * rung + 4)
        pours += [Pour(a, c, D(1)), Pour(b, c, D(2)), Pour(a, d, D(3)), Pour(b, d, D(1))]
    return pours


def test_a_vial_leads_back_to_the_bottle_through_its_stock():
    pours = [Pour(1, 3, D(1)), Pour(2, 3, D(9)), Pour(3, 4, D(2)), Pour(2, 4, D(2))]

    assert shares_back(target=4, mass=D(1), pours=pours) == (
        Share(3, D("0.500000"), 1),
        Share(1, D("0.050000"), 2),
        Share(2, D("0.950000"), 2),
    )


def test_a_bottle_leads_forward_to_everything_it_touched():
    pours = [Pour(1, 3, D(1)), Pour(3, 4, D(2)), Pour(1, 4, D("0.5"))]

    assert shares_forward(source=1, pours=pours, made_mass={3: D(10), 4: D(4)}) == (
        Share(3, D("1.000000"), 1),
        Share(4, D("0.700000"), 2),
    )


def test_grams_poured_after_a_loss_of_solvent_carry_more_of_what_went_in():
    # 10 g made of 1 g and 9 g dried to 8 g: 2 g of it stand for 2.5 g as made.
    pours = [
        Pour(1, 3, D(1)),
        Pour(2, 3, D(9)),
        Pour(3, 4, D(2), concentration_of_loss(book=D(10), actual=D(8))),
    ]

    assert shares_back(target=4, mass=D(2), pours=pours) == (
        Share(3, D("2.500000"), 1),
        Share(1, D("0.250000"), 2),
        Share(2, D("2.250000"), 2),
    )
    assert shares_forward(source=1, pours=pours, made_mass={3: D(10)})[-1].mass == D("0.250000")


def test_the_target_itself_may_have_lost_solvent():
    back = shares_back(
        target=3, mass=D(4), pours=[Pour(1, 3, D(1)), Pour(2, 3, D(9))], concentration=D("1.25")
    )

    assert [share.mass for share in back] == [D("0.500000"), D("4.500000")]


def test_a_trace_agrees_with_the_contents_after_losses():
    stock = mixed([(D(2), {1: D(1)}), (D(8), {2: D(1)})])
    dried = evaporated(contents=stock, solvents={2}, book=D("7.3"), actual=D("5.1"))
    blend = mixed([(D("1.5"), dried), (D("0.4"), {9: D(1)}), (D("0.7"), stock)])
    lost = concentration_of_loss(book=D("7.3"), actual=D("5.1"))
    pours = [
        Pour(101, 50, D(2)),
        Pour(102, 50, D(8)),
        Pour(50, 60, D("1.5"), lost),
        Pour(50, 60, D("0.7")),
        Pour(109, 60, D("0.4")),
    ]

    back = {share.lot: share.mass for share in shares_back(target=60, mass=D("2.6"), pours=pours)}

    assert abs(back[101] - blend[1] * D("2.6")) < D("0.000001")
    assert back[109] == D("0.400000")


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10**9), st.integers(1, 50_000_000))
def test_traces_agree_with_following_every_path(seed, micrograms):
    pours = random_pours(seed)
    made = made_masses(pours)
    mass = D(micrograms).scaleb(-6)

    for share in shares_back(target=7, mass=mass, pours=pours):
        part, longest = by_every_path(pours, made, share.lot, 7)
        assert share.mass == nearest(part * Fraction(mass))
        assert share.generation == longest
    forward = shares_forward(source=0, pours=pours, made_mass=made)
    for share in forward:
        part, longest = by_every_path(pours, made, 0, share.lot)
        assert share.mass == nearest(part * Fraction(made[share.lot]))
        assert share.generation == longest
    reached = {lot for lot in made if by_every_path(pours, made, 0, lot)[1]}
    assert {share.lot for share in forward} == reached


def nearest(grams):
    """Half-even in exact fractions."""
    return D(round(grams / MICROGRAM)).scaleb(-6)


def test_an_exact_half_microgram_rounds_as_a_half_although_thirds_cannot_be_written():
    # 7 µg / 3 g × 1.5 g is exactly 3.5 µg, but 3.4999… when the division comes first; half-even says 4 µg.
    back = shares_back(target=3, mass=D("0.000007"), pours=[Pour(1, 3, D("1.5")), Pour(2, 3, D("1.5"))])

    assert [share.mass for share in back] == [D("0.000004"), D("0.000004")]
    assert nearest_traced_mass(D("0.00000449999999999999999999999999999999999999999")) == D("0.000004")
    assert nearest_traced_mass(D("0.00000549999999999999999999999999999999999999999")) == D("0.000006")


@given(st.integers(0, 10**9))
def test_without_losses_the_bottles_make_up_the_mass(seed):
    pours = random_pours(seed, with_losses=False)
    made = {pour.target for pour in pours}
    back = shares_back(target=7, mass=D(5), pours=pours)

    if back:
        assert abs(sum(s.mass for s in back if s.lot not in made) - 5) <= D("0.000004")


@settings(deadline=None)
@given(st.integers(0, 10**9))
def test_what_forward_finds_in_a_lot_backward_finds_behind_it(seed):
    pours = random_pours(seed)
    made = made_masses(pours)

    for share in shares_forward(source=0, pours=pours, made_mass=made):
        back = {s.lot: s for s in shares_back(target=share.lot, mass=made[share.lot], pours=pours)}
        assert (back[0].mass, back[0].generation) == (share.mass, share.generation)


def test_a_ladder_of_four_hundred_rungs_is_traced_both_ways_exactly():
    pours = ladder(400)
    shares = {0: Fraction(1), 1: Fraction(0)}
    for rung in range(400):
        a, b = shares[2 * rung], shares[2 * rung + 1]
        shares[2 * rung + 2], shares[2 * rung + 3] = (a + 2 * b) / 3, (3 * a + b) / 4

    back = {s.lot: s for s in shares_back(target=800, mass=D("7.654321"), pours=pours)}
    forward = {s.lot: s for s in shares_forward(source=0, pours=pours, made_mass=made_masses(pours))}

    assert back[0].mass == nearest(shares[800] * Fraction("7.654321"))
    assert back[0].mass + back[1].mass == D("7.654321")
    assert back[0].generation == forward[800].generation == 400
    assert forward[800].mass == nearest(shares[800] * 3)
    assert forward[801].mass == nearest(shares[801] * 4)


def test_the_order_in_which_pours_are_given_does_not_matter():
    pours = random_pours(5)

    assert shares_back(target=7, mass=D(1), pours=pours) == shares_back(
        target=7, mass=D(1), pours=pours[::-1]
    )


def test_pours_of_other_lots_are_ignored():
    pours = [Pour(1, 2, D(1)), Pour(8, 9, D(1)), Pour(9, 8, D(1))]

    assert shares_back(target=2, mass=D(1), pours=pours) == (Share(1, D("1.000000"), 1),)


def test_a_bottle_has_no_ancestors_and_a_vial_no_descendants():
    assert shares_back(target=1, mass=D(1), pours=[Pour(1, 2, D(1))]) == ()
    assert shares_forward(source=2, pours=[Pour(1, 2, D(1))], made_mass={}) == ()


def test_a_share_below_half_a_microgram_is_still_listed():
    pours = [Pour(1, 3, D("0.000001")), Pour(2, 3, D(10))]

    assert shares_back(target=3, mass=D("0.001"), pours=pours)[0] == Share(1, D("0.000000"), 1)


def test_a_circle_is_refused_with_the_lots_in_it():
    pours = [Pour(1, 2, D(1)), Pour(2, 3, D(1)), Pour(3, 2, D(1)), Pour(3, 4, D(1))]

    with pytest.raises(CircularAncestry, match="3 → 2 → 3"):
        shares_back(target=4, mass=D(1), pours=pours)
    with pytest.raises(CircularAncestry):
        shares_forward(source=1, pours=pours, made_mass={2: D(2), 3: D(2)})
    with pytest.raises(CircularAncestry):
        shares_back(target=1, mass=D(1), pours=[Pour(1, 1, D(1))])


def test_the_made_mass_of_a_lot_that_was_poured_on_must_be_given():
    with pytest.raises(MadeMassUnknown, match="lot 2"):
        shares_forward(source=1, pours=[Pour(1, 2, D(1)), Pour(2, 3, D(1))], made_mass={3: D(1)})


def test_more_poured_in_than_made_is_refused():
    with pytest.raises(MadeMassTooSmall):
        shares_forward(source=1, pours=[Pour(1, 2, D(2))], made_mass={2: D(1)})


@pytest.mark.parametrize(
    "pour",
    [
        Pour(1, 2, D(0)),
        Pour(1, 2, D(-1)),
        Pour(1, 2, D("NaN")),
        Pour(1, 2, D(1), D("0.9")),
        Pour(1, 2, D(1), D("NaN")),
    ],
)
def test_impossible_pours_are_refused(pour):
    with pytest.raises(BadNumber):
        shares_back(target=2, mass=D(1), pours=[pour])
    with pytest.raises(BadNumber):
        shares_forward(source=1, pours=[pour], made_mass={})


@pytest.mark.parametrize("mass", [D(0), D(-1), D("NaN")])
def test_a_trace_of_no_mass_is_refused(mass):
    with pytest.raises(BadNumber):
        shares_back(target=2, mass=mass, pours=[Pour(1, 2, D(1))])


def test_the_order_of_making_puts_every_lot_after_what_it_is_made_of():
    order = making_order({"vial": ["blend", "stock"], "blend": ["stock"], "stock": ["bottle"]}, "vial")

    assert order == ["bottle", "stock", "blend", "vial"]
