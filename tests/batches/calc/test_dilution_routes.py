"""The way to a stock through intermediates: the rules each route keeps, and that no better one exists."""

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from batches.calc.dilution import (
    BadStock,
    BeyondSolubility,
    NoGoodRoute,
    NoStrongerParent,
    NotEnoughParent,
    ParentLot,
)
from batches.calc.dilution_routes import COVERAGE, LADDER, ROUND_SIZES, propose_route
from inventory.calc.weighing import BalanceTraits, net_mass_uncertainty, smallest_net_weight
from studio.kernel.errors import Refusal
from studio.kernel.mass import nearest_mass

MILLIGRAM_BALANCE = BalanceTraits(Decimal(220), Decimal("0.001"), Decimal("0.001"), Decimal("0.002"))
NEAT = ParentLot("neat", Decimal(1), Decimal(50))


def lot(name, strength, available=50, **more):
    return ParentLot(
        name, Decimal(strength), Decimal(available), **{key: Decimal(value) for key, value in more.items()}
    )


def route(strength, size, *parents, weighing="0.01", tolerance="0.05", **more):
    return propose_route(
        strength=Decimal(strength),
        size=Decimal(size),
        parents=parents or [NEAT],
        traits=MILLIGRAM_BALANCE,
        weighing_tolerance=Decimal(weighing),
        strength_tolerance=Decimal(tolerance),
        **more,
    )


def way(found):
    return [(step.parent, step.strength, step.size, step.parent_mass) for step in found.steps]


def test_what_weighs_well_straight_from_neat_is_made_straight():
    assert way(route("0.1", 10)) == [("neat", Decimal("0.1"), 10, 1)]


def test_too_little_of_neat_goes_through_one_intermediate_at_least_material():
    found = route("0.001", 5)
    assert way(found) == [
        ("neat", Decimal("0.02"), 10, Decimal("0.2")),
        (None, Decimal("0.001"), 5, Decimal("0.25")),
    ]
    assert found.odorant_mass == Decimal("0.2")
    assert found.left_over == Decimal("9.75")
    assert found.sentence.startswith("100 % → 2 % → 0.1 %")


def test_a_stock_on_the_shelf_spares_the_intermediate():
    found = route("0.001", 5, NEAT, lot("shelf", "0.0198"))
    assert [step.parent for step in found.steps] == ["shelf"]


def test_an_intermediate_may_be_nearly_used_up():
    found = route(
        "0.01", "37.5", weighing="0.005", ladder=[Decimal("0.02")], sizes=[Decimal(20), Decimal(100)]
    )
    assert way(found)[0] == ("neat", Decimal("0.02"), 20, Decimal("0.4"))
    assert found.left_over == Decimal("1.25")


def test_two_intermediates_are_made_where_one_is_not_enough():
    assert len(route("0.000001", 5).steps) == 3


def test_a_tighter_tolerance_makes_larger_weighings():
    loose, tight = route("0.001", 5), route("0.001", 5, tolerance="0.01")
    assert tight.expanded_uncertainty <= Decimal("0.01") < loose.expanded_uncertainty
    assert tight.odorant_mass > loose.odorant_mass


def test_between_lots_that_serve_alike_the_first_given_is_taken():
    twins = [lot("first", 1), lot("second", 1)]
    assert route("0.1", 10, *twins).steps[0].parent == "first"
    assert route("0.1", 10, *reversed(twins)).steps[0].parent == "second"


def test_a_lot_that_is_hard_to_take_little_of_is_passed_over():
    resin = lot("resin", 1, smallest=2)
    assert route("0.1", 10, resin, lot("other", "0.5")).steps[0].parent == "other"


def test_a_lot_of_uncertain_strength_is_passed_over_when_the_tolerance_forbids_it():
    vague = lot("vague", 1, relative_uncertainty="0.05")
    assert route("0.1", 10, vague, lot("known", "0.5")).steps[0].parent == "known"


def test_no_intermediate_is_stronger_than_the_solvent_dissolves():
    free = route("0.001", 5)
    bound = route("0.001", 5, solubility=Decimal("0.01"))
    assert free.steps[0].strength == Decimal("0.02")
    assert bound.steps[0].strength <= Decimal("0.01")


def test_a_stock_beyond_solubility_is_refused_with_the_numbers():
    with pytest.raises(BeyondSolubility, match=r"0\.05 %.*0\.1 %"):
        route("0.001", 5, solubility=Decimal("0.0005"))


def test_without_a_stronger_lot_nothing_can_be_diluted():
    with pytest.raises(NoStrongerParent, match="weak"):
        route("0.1", 5, lot("weak", "0.1"))


def test_a_lot_with_too_little_in_it_is_named_with_the_grams_missing():
    with pytest.raises(NotEnoughParent, match="5 g are missing") as refusal:
        route("0.1", 100, lot("neat", 1, 5))
    assert refusal.value.extra == {"lot": "neat", "needed": 10, "missing": 5}


def test_too_small_a_stock_is_refused_with_the_size_that_would_work():
    with pytest.raises(NoGoodRoute, match=r"Making 0\.5 g would work") as refusal:
        route("0.001", "0.3")
    assert refusal.value.extra["works_at"] == Decimal("0.5")
    assert "0.0003 g of it" in refusal.value.message


def test_too_tight_a_tolerance_is_refused_with_what_can_be_reached():
    with pytest.raises(NoGoodRoute, match=r"uncertain by ± 2\.43 %; ± 0\.01 % is allowed") as refusal:
        route("0.001", 5, tolerance="0.0001")
    assert refusal.value.extra["works_at"] is None


@pytest.mark.parametrize(
    "changes",
    [
        {"size": 0},
        {"size": "NaN"},
        {"size": 221},
        {"strength": 0},
        {"strength": "1.5"},
        {"tolerance": 0},
        {"tolerance": 1},
        {"tolerance": "NaN"},
        {"weighing": 0},
        {"weighing": "NaN"},
        {"most_steps": 0},
        {"ladder": [Decimal(2)]},
        {"sizes": [Decimal(0)]},
        {"solubility": Decimal(0)},
    ],
)
def test_input_that_cannot_be_is_refused(changes):
    asked = {"strength": "0.01", "size": 10} | changes
    with pytest.raises(Refusal) as refusal:
        route(asked.pop("strength"), asked.pop("size"), **asked)
    assert refusal.value.code in {"bad-stock", "bad-number", "bad-tolerance"}


def test_a_stock_of_full_strength_is_not_made_by_diluting():
    with pytest.raises(NoStrongerParent):
        route(1, 10)


def test_no_lots_are_refused():
    with pytest.raises(BadStock):
        propose_route(
            strength=Decimal("0.1"),
            size=Decimal(1),
            parents=[],
            traits=MILLIGRAM_BALANCE,
            weighing_tolerance=Decimal("0.01"),
            strength_tolerance=Decimal("0.05"),
        )


# ---- against every chain written out ---------------------------------------------------------------------

RUNGS = [Decimal(rung) for rung in ("0.5", "0.1", "0.02", "0.01", "0.002")]
SIZES = [Decimal(size) for size in ("1", "5", "20", "100")]


def every_chain(strength, size, parents, ladder, sizes, steps):
    """All (lot, [(strength, size), …]) with at most `steps` steps, the stock last; no rule applied yet."""
    tails = [[(strength, size)]]
    for _ in range(steps):
        for tail in tails:
            for place in range(len(parents)):
                yield place, tail
        tails = [
            [(rung, made), *tail] for tail in tails for rung in ladder for made in sizes if rung > tail[0][0]
        ]


def weighed(place, tail, parents, traits, smallest):
    """Rank of a chain if it keeps every rule but the tolerance, with its relative variance; else None."""
    lot = parents[place]
    u = net_mass_uncertainty(traits)
    strength, there, least = lot.strength, lot.available, lot.smallest
    variance = lot.relative_uncertainty**2
    for target, size in tail:
        taken = nearest_mass(size * target / strength)
        if not (
            strength > target
            and taken >= max(smallest, least)
            and size - taken >= smallest
            and taken <= there
        ):
            return None
        solvent = size - taken
        variance += (u * solvent / (size * taken)) ** 2 + (u / size) ** 2
        strength, there, least = target, size, Decimal(0)
    return (len(tail), tail[0][0] * tail[0][1], sum(size for _, size in tail), round(variance, 20), place)


parent_lots = st.lists(
    st.tuples(
        st.sampled_from(["1", "0.987", "0.3", "0.1013", "0.0099", "0.0021"]),
        st.sampled_from(["0.05", "0.4", "3", "40"]),
        st.sampled_from(["0", "0.5"]),
        st.sampled_from(["0", "0.004", "0.02"]),
    ),
    min_size=1,
    max_size=3,
)


def best_of_every_chain(strength, size, parents, weighing, tolerance, ladder=RUNGS, sizes=SIZES):
    smallest = smallest_net_weight(MILLIGRAM_BALANCE, weighing)
    limit = (tolerance / COVERAGE) ** 2
    chains = every_chain(strength, size, parents, ladder, sizes, 3)
    ranks = (weighed(place, tail, parents, MILLIGRAM_BALANCE, smallest) for place, tail in chains)
    return min((rank for rank in ranks if rank and rank[3] <= limit), default=None)


def rank_of_proposal(strength, size, parents, weighing, tolerance, ladder=RUNGS, sizes=SIZES):
    try:
        found = route(
            strength,
            size,
            *parents,
            weighing=weighing,
            tolerance=tolerance,
            ladder=ladder,
            sizes=sizes,
            most_steps=3,
        )
    except (NoGoodRoute, NotEnoughParent, NoStrongerParent):
        return None
    variance = round((found.expanded_uncertainty / COVERAGE) ** 2, 20)
    first = found.steps[0]
    place = [parent.lot for parent in parents].index(first.parent)
    return (len(found.steps), first.strength * first.size, found.made_mass, variance, place)


@settings(max_examples=150, deadline=None)
@given(
    lots=parent_lots,
    strength=st.sampled_from(["0.2", "0.05", "0.01", "0.001", "0.0001", "0.00001"]),
    size=st.sampled_from(["0.5", "2", "10", "37.5"]),
    weighing=st.sampled_from(["0.005", "0.01", "0.05"]),
    tolerance=st.sampled_from(["0.006", "0.02", "0.1"]),
)
def test_no_chain_of_at_most_three_steps_is_better_than_the_route_proposed(
    lots, strength, size, weighing, tolerance
):
    parents = [
        ParentLot(str(place), *(Decimal(value) for value in values)) for place, values in enumerate(lots)
    ]
    asked = (Decimal(strength), Decimal(size), parents, Decimal(weighing), Decimal(tolerance))
    assert rank_of_proposal(*asked) == best_of_every_chain(*asked)


@settings(max_examples=100, deadline=None)
@given(
    strength=st.sampled_from(["0.0001", "0.00005", "0.00001"]),
    size=st.sampled_from(["2", "5", "10", "20", "37.5"]),
    tolerance=st.decimals("0.004", "0.06", places=4),
    weighing=st.sampled_from(["0.005", "0.01", "0.02", "0.1"]),
    ladder=st.lists(st.sampled_from(LADDER), min_size=4, max_size=8, unique=True),
    sizes=st.lists(st.sampled_from(ROUND_SIZES), min_size=2, max_size=4, unique=True),
)
@example(
    strength="0.00005",
    size="20",
    tolerance=Decimal("0.0138"),
    weighing="0.005",
    ladder=[Decimal(rung) for rung in ["0.5", "0.2", "0.05", "0.01", "0.002", "0.001", "0.0002", "0.0001"]],
    sizes=[Decimal(1), Decimal(5), Decimal(50)],
)
def test_where_two_intermediates_are_needed_nothing_is_dropped_that_the_best_way_needs(
    strength, size, tolerance, weighing, ladder, sizes
):
    """The example has a surer and a lighter way through one intermediate, met in the misleading order."""
    asked = (Decimal(strength), Decimal(size), [NEAT], Decimal(weighing), tolerance, ladder, sizes)
    assert rank_of_proposal(*asked) == best_of_every_chain(*asked)


@settings(max_examples=60, deadline=None)
@given(
    strength=st.decimals("0.000001", "0.9", places=6),
    size=st.decimals("0.1", 200, places=2),
    parent=st.decimals("0.5", 1, places=3),
)
def test_a_route_keeps_every_rule_or_is_refused_by_name(strength, size, parent):
    try:
        found = route(strength, size, lot("lot", parent))
    except (NoGoodRoute, NotEnoughParent, NoStrongerParent):
        return
    assert found.steps[0].parent == "lot"
    assert found.steps[0].parent_mass <= 50
    assert (found.steps[-1].strength, found.steps[-1].size) == (strength, size)
    assert found.expanded_uncertainty <= Decimal("0.05")
    for step in found.steps:
        assert min(step.parent_mass, step.solvent_mass) >= found.smallest_weight
        assert step.parent_mass + step.solvent_mass == step.size
    for before, after in pairwise(found.steps):
        assert after.parent is None
        assert after.parent_strength == before.strength
        assert after.parent_mass <= before.size


def test_a_refused_size_names_one_that_is_then_proposed():
    for size in ("0.05", "0.1", "0.3"):
        with pytest.raises(NoGoodRoute) as refusal:
            route("0.001", size)
        works_at = refusal.value.extra["works_at"]
        assert works_at > Decimal(size)
        assert route("0.001", works_at)
