from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from inventory.calc.contents import evaporated, mixed
from inventory.calc.lineage import CircularAncestry
from inventory.calc.sensitivity import RevisionUnexplained
from inventory.calc.uncertainty import (
    ContentsMissing,
    ContentsUnbalanced,
    Loss,
    Purity,
    SourceContradictory,
    Weighing,
    budget,
)
from studio.kernel.mass import BadNumber
from tests.inventory.calc.ancestries import SOLVENTS, as_input, evaluated, random_ancestry

D = Decimal
seeds = st.integers(0, 10**9)


def root_sum(effects):
    return np.sqrt(np.square(effects).sum(axis=0))


def with_uncertainties(ancestry):
    """The same ancestry with numbers that carry their own linear uncertainty, from a general library."""
    u_mass = {(s[1], i): p[3] for s in ancestry.steps if s[0] == "made" for i, p in enumerate(s[2])}
    u_purity = {(lot, m): u for lot, m, u in ancestry.purities}
    u_factor = {(s[1], s[2]): s[5] for s in ancestry.steps if s[0] == "dried"}
    known = {}

    def mass_of(key, nominal):
        return known.setdefault(("mass", key), ufloat(nominal, u_mass[key]))

    def fraction_of(key, nominal):
        return known.setdefault(("purity", key), ufloat(nominal, u_purity[key]))

    def factor_of(key, nominal):
        return known.setdefault(("factor", key), ufloat(nominal, nominal * u_factor[key]))

    return evaluated(ancestry, mass_of=mass_of, fraction_of=fraction_of, factor_of=factor_of)[0]


def deviation(value):
    return getattr(value, "std_dev", 0.0)


@settings(deadline=None, max_examples=80)
@given(seeds, st.booleans())
def test_every_fraction_has_the_uncertainty_that_a_general_library_finds(seed, losses):
    ancestry = random_ancestry(seed, losses=losses)
    expected = with_uncertainties(ancestry)[ancestry.target, ancestry.revision]

    found = budget(**as_input(ancestry)).of_each()

    for material, fraction in expected.items():
        assert float(found[material]) == pytest.approx(deviation(fraction), rel=1e-6, abs=2e-12)


@settings(deadline=None, max_examples=80)
@given(seeds, st.sets(st.sampled_from([0, 1, 2, 3, 4, 50, 51]), min_size=1))
def test_a_strength_has_its_correlations(seed, materials):
    ancestry = random_ancestry(seed)
    fractions = with_uncertainties(ancestry)[ancestry.target, ancestry.revision]
    expected = sum(fractions[m] for m in materials if m in fractions)

    found = budget(**as_input(ancestry)).of_sum(materials)

    assert float(found) == pytest.approx(deviation(expected), rel=1e-6, abs=2e-12)


@settings(deadline=None, max_examples=40)
@given(seeds)
def test_effects_of_weighings_and_losses_agree_with_small_changes_of_them(seed):
    ancestry = random_ancestry(seed)
    found = budget(**as_input(ancestry))
    node = (ancestry.target, ancestry.revision)
    inputs = as_input(ancestry)
    places = {}
    for step in ancestry.steps:
        if step[0] == "made":
            for place in range(len(step[2])):
                places[len(places)] = (step[1], place)
    # κ stays as it was measured when something else changes a little.
    factors = evaluated(ancestry)[1]

    def changed(kind, key, by):
        def change(this, nominal):
            return nominal + (by if this == key else 0)

        def fixed(this, nominal):
            return factors[this] + (by if (kind, this) == ("factor", key) else 0)

        return evaluated(
            ancestry,
            mass_of=change if kind == "mass" else None,
            fraction_of=change if kind == "purity" else None,
            factor_of=fixed,
        )[0][node]

    def derivative(kind, key, step=1e-5):
        up, down = changed(kind, key, step), changed(kind, key, -step)
        return np.array([(up.get(m, 0) - down.get(m, 0)) / (2 * step) for m in found.materials])

    for place, weighing in enumerate(inputs["weighings"]):
        if weighing in found.sources:
            expected = derivative("mass", places[place]) * float(weighing.standard_uncertainty)
            np.testing.assert_allclose(found.effects[found.sources.index(weighing)], expected, atol=1e-10)
    for purity in inputs["purities"]:
        if purity in found.sources:
            expected = derivative("purity", (purity.lot, purity.material)) * float(
                purity.standard_uncertainty
            )
            np.testing.assert_allclose(found.effects[found.sources.index(purity)], expected, atol=1e-10)
    for loss in inputs["losses"]:
        if loss in found.sources:
            factor = factors[loss.lot, loss.revision]
            relative = np.hypot(
                float(loss.book_uncertainty / loss.book), float(loss.actual_uncertainty / loss.actual)
            )
            expected = derivative("factor", (loss.lot, loss.revision)) * factor * relative
            np.testing.assert_allclose(found.effects[found.sources.index(loss)], expected, atol=1e-10)


@pytest.mark.parametrize("seed", [3, 11, 29])
def test_random_draws_scatter_as_much_as_predicted(seed):
    # To first order: with relative uncertainties of 0.3 % the second order is far below the 3 % asked here;
    # 40,000 draws settle a standard deviation to 0.35 %.
    ancestry = random_ancestry(seed, relative=0.003)
    draws = np.random.default_rng(seed)
    u_mass = {(s[1], i): p[3] for s in ancestry.steps if s[0] == "made" for i, p in enumerate(s[2])}
    u_purity = {(lot, m): u for lot, m, u in ancestry.purities}
    u_factor = {(s[1], s[2]): s[5] for s in ancestry.steps if s[0] == "dried"}
    factors = evaluated(ancestry)[1]

    contents, _ = evaluated(
        ancestry,
        mass_of=lambda key, nominal: nominal + u_mass[key] * draws.standard_normal(40_000),
        fraction_of=lambda key, nominal: nominal + u_purity[key] * draws.standard_normal(40_000),
        factor_of=lambda key, _: factors[key] * (1 + u_factor[key] * draws.standard_normal(40_000)),
    )

    found = budget(**as_input(ancestry)).of_each()
    for material, fractions in contents[ancestry.target, ancestry.revision].items():
        assert float(found[material]) == pytest.approx(float(np.std(fractions)), rel=0.03, abs=1e-9)


def test_two_stocks_of_one_bottle_share_its_purity():
    # Half of each of two 10 % stocks of the same bottle: its purity counts once in full, not as two halves.
    weighings = [
        Weighing(1, 0, 11, D(1), D(0)),
        Weighing(9, 0, 11, D(9), D(0)),
        Weighing(1, 0, 12, D(1), D(0)),
        Weighing(9, 0, 12, D(9), D(0)),
        Weighing(11, 0, 20, D(5), D(0)),
        Weighing(12, 0, 20, D(5), D(0)),
    ]
    stock = {1: D("0.1"), 9: D("0.9")}
    contents = {(1, 0): {1: D(1)}, (9, 0): {9: D(1)}, (11, 0): stock, (12, 0): stock, (20, 0): stock}

    found = budget(target=20, weighings=weighings, contents=contents, purities=[Purity(1, 1, D("0.01"))])

    assert found.of_each() == {1: D("0.001000000000"), 9: D("0.000000000000")}


def test_drawing_off_adds_nothing():
    stock = {1: D("0.1"), 9: D("0.9")}
    weighings = [
        Weighing(1, 0, 11, D(1), D("0.001")),
        Weighing(9, 0, 11, D(9), D("0.001")),
        Weighing(11, 0, 12, D(2), D("0.5")),
    ]
    contents = {(1, 0): {1: D(1)}, (9, 0): {9: D(1)}, (11, 0): stock, (12, 0): stock}

    drawn = budget(target=12, weighings=weighings, contents=contents)

    assert drawn.of_each() == budget(target=11, weighings=weighings, contents=contents).of_each()
    assert weighings[2] not in [c.source for c in drawn.largest({1})]


def test_the_rest_of_a_bottle_makes_up_for_its_uncertain_material():
    # A dilution bought as (10 ± 0.2) % in two solvents, 2 : 1; poured off alone, so nothing else is uncertain.
    held = {1: D("0.1"), 8: D("0.6"), 9: D("0.3")}

    found = budget(target=1, weighings=[], contents={(1, 0): held}, purities=[Purity(1, 1, D("0.002"))])

    assert [round(u, 9) for u in found.of_each().values()] == [D("0.002"), D("0.001333333"), D("0.000666667")]
    assert found.of_sum({1, 8, 9}) == 0


def test_all_fractions_together_are_certain_as_long_as_all_is_named():
    ancestry = random_ancestry(17, purities=False)
    found = budget(**as_input(ancestry))

    assert found.of_sum(found.materials) == 0


def test_a_dried_stock_is_as_uncertain_as_its_strength_rose():
    made = {1: D("0.1"), 9: D("0.9")}
    dried = evaporated(contents=made, solvents={9}, book=D(10), actual=D(8))
    weighings = [Weighing(1, 0, 11, D(1), D("0.001")), Weighing(9, 0, 11, D(9), D("0.001"))]
    contents = {(1, 0): {1: D(1)}, (9, 0): {9: D(1)}, (11, 0): made, (11, 1): dried}

    before = budget(target=11, weighings=weighings, contents=contents).of_each()
    after = budget(target=11, revision=1, weighings=weighings, contents=contents).of_each()

    assert after[1] == pytest.approx(before[1] * D("1.25"), abs=D("1e-11"))


def test_the_two_weighings_of_a_loss_add_their_part():
    made = {1: D("0.1"), 9: D("0.9")}
    contents = {(1, 0): made, (1, 1): {1: D("0.125"), 9: D("0.875")}}
    loss = Loss(1, 1, D(10), D(8), D("0.03"), D("0.032"))

    found = budget(target=1, revision=1, weighings=[], contents=contents, losses=[loss])

    # 0.3 % and 0.4 % of the two masses are 0.5 % of their ratio.
    assert found.of_each() == {1: D("0.000625000000"), 9: D("0.000625000000")}
    assert [c.source for c in found.largest({1})] == [loss]


def test_the_largest_contributor_says_what_to_weigh_better():
    weighings = [Weighing(1, 0, 11, D("0.01"), D("0.0004")), Weighing(9, 0, 11, D("9.99"), D("0.0004"))]
    contents = {(1, 0): {1: D(1)}, (9, 0): {9: D(1)}, (11, 0): {1: D("0.001"), 9: D("0.999")}}
    purity = Purity(1, 1, D("0.03"))

    first, second, third = budget(
        target=11, weighings=weighings, contents=contents, purities=[purity]
    ).largest({1})

    assert (first.source, second.source, third.source) == (weighings[0], purity, weighings[1])
    assert first.standard_uncertainty == D("0.000039960000")
    assert second.standard_uncertainty == D("0.000030000000")
    assert sum(c.share for c in (first, second, third)) == pytest.approx(1, abs=D("2e-9"))
    assert len(budget(target=11, weighings=weighings, contents=contents).largest({1}, count=1)) == 1


def test_a_ladder_of_four_hundred_rungs_agrees_with_carrying_every_source_forwards():
    weighings, contents = [], {(0, 0): {1: D(1)}, (1, 0): {2: D(1)}}
    rows = 1600
    forward = {0: np.zeros(rows), 1: np.zeros(rows)}
    for rung in range(400):
        a, b, c, d = range(2 * rung, 2 * rung + 4)
        for target, from_a, from_b in ((c, D(1), D(2)), (d, D(3), D(1))):
            here = len(weighings)
            weighings += [
                Weighing(a, 0, target, from_a, D("0.001")),
                Weighing(b, 0, target, from_b, D("0.001")),
            ]
            contents[target, 0] = mixed([(from_a, contents[a, 0]), (from_b, contents[b, 0])])
            total = float(from_a + from_b)
            share = float(contents[target, 0].get(1, 0))
            forward[target] = (float(from_a) * forward[a] + float(from_b) * forward[b]) / total
            forward[target][here] = (float(contents[a, 0].get(1, 0)) - share) / total * 0.001
            forward[target][here + 1] = (float(contents[b, 0].get(1, 0)) - share) / total * 0.001

    found = budget(target=800, weighings=weighings, contents=contents)

    # The contents of the ladder are rounded to nine places, and the masses are known to a thousandth.
    assert float(found.of_each()[1]) == pytest.approx(root_sum(forward[800]), rel=1e-7)


def test_the_order_of_input_does_not_matter():
    given_ = as_input(random_ancestry(8))
    turned = given_ | {"weighings": given_["weighings"][::-1], "purities": given_["purities"][::-1]}

    one, other = budget(**given_), budget(**turned)

    assert one.of_each() == other.of_each()


def test_what_lies_outside_the_ancestry_is_ignored():
    contents = {(1, 0): {1: D(1)}, (2, 0): {1: D(1)}}
    weighings = [Weighing(1, 0, 2, D(1), D("0.1")), Weighing(77, 0, 78, D(1), D("0.1"))]

    assert budget(target=2, weighings=weighings, contents=contents).of_each() == {1: D("0E-12")}


def test_a_circle_is_refused():
    weighings = [Weighing(1, 0, 2, D(1), D(0)), Weighing(2, 1, 1, D(1), D(0))]

    with pytest.raises(CircularAncestry):
        budget(target=2, weighings=weighings, contents={})


def test_missing_contents_are_named():
    with pytest.raises(ContentsMissing, match=r"1 \(revision 0\), 1 \(revision 1\)"):
        budget(
            target=2,
            weighings=[Weighing(1, 1, 2, D(1), D(0))],
            contents={(2, 0): {1: D(1)}, (1, 2): {1: D(1)}},
        )


@pytest.mark.parametrize("held", [{1: D("0.5")}, {1: D("1.5"), 2: D("-0.5")}, {1: D("NaN")}])
def test_contents_that_do_not_add_up_are_refused(held):
    with pytest.raises(ContentsUnbalanced):
        budget(target=1, weighings=[], contents={(1, 0): held})


@pytest.mark.parametrize(
    ("mass", "u"), [(D(0), D(0)), (D(-1), D(0)), (D("NaN"), D(0)), (D(1), D(-1)), (D(1), D("NaN"))]
)
def test_impossible_weighings_are_refused(mass, u):
    with pytest.raises(BadNumber):
        budget(
            target=2,
            weighings=[Weighing(1, 0, 2, mass, u)],
            contents={(1, 0): {1: D(1)}, (2, 0): {1: D(1)}},
        )


@pytest.mark.parametrize(
    "purities",
    [
        [Purity(2, 1, D("0.1"))],
        [Purity(1, 5, D("0.1"))],
        [Purity(1, 1, D("0.1")), Purity(1, 1, D("0.2"))],
    ],
)
def test_a_purity_of_a_made_lot_or_of_what_is_not_in_it_or_given_twice_is_refused(purities):
    contents = {(1, 0): {1: D(1)}, (2, 0): {1: D(1)}}

    with pytest.raises(SourceContradictory):
        budget(target=2, weighings=[Weighing(1, 0, 2, D(1), D(0))], contents=contents, purities=purities)


@pytest.mark.parametrize(
    ("losses", "error"),
    [
        ([Loss(1, 0, D(10), D(8), D(0), D(0))], SourceContradictory),
        ([Loss(1, 1, D(10), D(8), D(0), D(0))] * 2, SourceContradictory),
        ([Loss(1, 1, D(8), D(10), D(0), D(0))], BadNumber),
        ([Loss(1, 1, D(10), D(0), D(0), D(0))], BadNumber),
        ([Loss(1, 1, D(10), D(8), D(-1), D(0))], BadNumber),
    ],
)
def test_losses_that_cannot_be_are_refused(losses, error):
    contents = {(1, 0): {1: D("0.1"), 9: D("0.9")}, (1, 1): {1: D("0.125"), 9: D("0.875")}}

    with pytest.raises(error):
        budget(target=1, revision=1, weighings=[], contents=contents, losses=losses)


@pytest.mark.parametrize(
    "after",
    [
        {1: D("0.2"), 2: D("0.2"), 9: D("0.6")},  # one rose by 2, the other not
        {1: D("0.1"), 2: D("0.2"), 3: D("0.1"), 9: D("0.6")},  # something new
    ],
)
def test_a_revision_that_no_loss_of_solvent_explains_is_refused(after):
    contents = {(1, 0): {1: D("0.1"), 2: D("0.2"), 9: D("0.7")}, (1, 1): after}

    with pytest.raises(RevisionUnexplained):
        budget(target=1, revision=1, weighings=[], contents=contents)


@given(seeds)
def test_every_rounded_loss_of_solvent_is_recognised(seed):
    chance = np.random.default_rng(seed)
    weights = 10.0 ** chance.uniform(-6, 6, size=chance.integers(2, 9))
    held = mixed([(D(int(w * 1e4)).scaleb(-6) + D("0.000001"), {i: D(1)}) for i, w in enumerate(weights)])
    lost = {m for m in held if m < 3 and chance.random() < 0.7}
    solvent = sum((held[m] for m in lost), D(0)) * 10
    actual = D(10) - (solvent * D(float(chance.uniform(0, 1)))).quantize(D("0.000001"), rounding="ROUND_DOWN")
    after = evaporated(contents=held, solvents=lost, book=D(10), actual=actual) if actual else held

    budget(target=1, revision=1, weighings=[], contents={(1, 0): held, (1, 1): after})


def test_the_solvents_of_the_random_ancestries_do_evaporate_together():
    steps = [step for seed in range(40) for step in random_ancestry(seed).steps if step[0] == "dried"]

    assert any(len(step[3]) > 1 for step in steps)
    assert all(step[3] <= set(SOLVENTS) for step in steps)
