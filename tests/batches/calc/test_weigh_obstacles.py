"""When nothing on the shelf fits: why, in numbers, and what would help."""

from dataclasses import replace
from decimal import Decimal

import pytest

from batches.calc.weigh_plan import NoPlan, plan_weighing
from batches.calc.weigh_remedies import NewStock, OtherMass, OtherStrength, remedies_for_flags
from batches.calc.weigh_request import SolventBound
from inventory.calc.claims import ShelfLot
from tests.batches.calc.random_shelves import random_request
from tests.batches.calc.shelves import formula, material, request, shelf

D = Decimal
ETHANOL, GLYCOL = material("ethanol"), material("dipropylene glycol")
ROSE = formula("geraniol@10%/ethanol 4", "linalool@1%/ethanol 2", "ethanol 4")


def refusal(asked):
    with pytest.raises(NoPlan) as found:
        plan_weighing(asked)
    return found.value


def of_kind(remedies, kind):
    return next((remedy for remedy in remedies if remedy.kind == kind), None)


def test_too_strong_names_the_strength_reached_and_the_lines_that_bring_most_solvent():
    lots = shelf("geraniol@20%/ethanol 90g", "linalool@1%/ethanol 90g", "ethanol 50g")
    found = refusal(request(ROSE, lots, "10", strength=D("0.2")))
    reason = found.reasons[0]
    assert reason.kind == "strength"
    assert reason.wanted == D("0.2")
    assert reason.reached == D("0.105")
    assert reason.lines == (2, 1)
    assert "reach 10.5 %" in reason.sentence
    assert "linalool (4.95 g) and geraniol (4 g)" in reason.sentence
    assert found.code == "no-weigh-plan"


def test_too_strong_offers_the_strength_that_fits_and_the_stocks_to_get():
    lots = shelf("geraniol@20%/ethanol 90g", "linalool@1%/ethanol 90g", "ethanol 50g")
    asked = request(ROSE, lots, "10", strength=D("0.2"))
    remedies = refusal(asked).remedies
    weaker = of_kind(remedies, "strength")
    assert weaker.strength == D("0.1049")
    assert plan_weighing(replace(asked, strength=weaker.strength)).total == 10
    stock = of_kind(remedies, "get")
    assert (stock.lines, stock.parent) == ((2,), None)
    assert stock.strength > D("0.01")
    assert stock.sentence.startswith(f"Get {stock.grams.normalize():f} g of linalool")


def test_missing_material_is_counted_in_odorant_and_at_the_dilution_as_written():
    lots = shelf("geraniol@10%/ethanol 1g", "linalool@1%/ethanol 90g", "ethanol 50g", "geraniol 5g held")
    found = refusal(request(ROSE, lots, "10"))
    reason = found.reasons[0]
    assert (reason.kind, reason.wanted, reason.reached, reason.lines) == ("missing", D("0.4"), D("0.1"), (1,))
    assert "3 g at 10 % are missing" in reason.sentence
    assert reason.lots == (104,)
    assert "Not counted: lot 26-0104 with 5 g is on hold." in reason.sentence


def test_missing_material_offers_a_smaller_batch():
    lots = shelf("geraniol@10%/ethanol 1g", "linalool@1%/ethanol 90g", "ethanol 50g")
    asked = request(ROSE, lots, "10")
    smaller = of_kind(refusal(asked).remedies, "mass")
    assert smaller.total == D("2.5")
    assert plan_weighing(replace(asked, total=smaller.total)).total == D("2.5")


def test_every_missing_material_is_named():
    found = refusal(request(ROSE, shelf("ethanol 50g"), "10"))
    assert [reason.lines for reason in found.reasons] == [(1,), (2,)]


def test_missing_solvent_is_named_in_grams():
    lots = shelf("geraniol@10%/ethanol 90g", "linalool@1%/ethanol 90g", "ethanol 1g")
    reason = refusal(request(ROSE, lots, "10")).reasons[0]
    assert (reason.kind, reason.wanted, reason.reached) == ("solvent", D("4"), D("1"))
    assert "3 g are missing" in reason.sentence


def test_a_bound_that_cannot_be_kept_is_named_with_the_share_that_can():
    lots = shelf("geraniol@10%/dipropylene glycol 90g", "linalool@1%/ethanol 90g", "ethanol 50g")
    bounds = {GLYCOL: SolventBound(highest=D("0.1"))}
    reason = refusal(request(ROSE, lots, "10", solvent_bounds=bounds)).reasons[0]
    assert (reason.kind, reason.wanted, reason.reached) == ("bound", D("0.1"), D("0.36"))


def test_more_than_the_vessel_carries_offers_what_it_carries():
    lots = shelf("geraniol@10%/ethanol 90g", "linalool@1%/ethanol 90g", "ethanol 50g")
    found = refusal(request(ROSE, lots, "10", largest_total=D("8")))
    assert (found.reasons[0].kind, found.reasons[0].wanted, found.reasons[0].reached) == (
        "vessel",
        D(10),
        D(8),
    )
    assert found.remedies == (OtherMass("mass", D(8), found.remedies[0].sentence),)


def test_without_free_solvent_the_strengths_that_the_lots_make_are_named():
    lines = formula("geraniol 5", "linalool@10%/ethanol 5")
    asked = request(lines, shelf("geraniol 20g", "linalool 20g"), "10")
    found = refusal(asked)
    assert found.reasons[0].kind == "total"
    assert "make 100 % at the weakest" in found.reasons[0].sentence
    assert plan_weighing(replace(asked, strength=of_kind(found.remedies, "strength").strength)).moved == 1


def test_a_flagged_plan_offers_the_stock_between_that_can_be_made():
    lines = formula("geraniol@10%/ethanol 0.05", "linalool@10%/ethanol 7", "ethanol 2.95")
    lots = shelf("geraniol@0.1%/ethanol 50g", "geraniol 9g", "linalool@10%/ethanol 50g", "ethanol 50g")
    asked = request(lines, lots, "10")
    plan = plan_weighing(asked)
    assert [flag.line for flag in plan.flags] == [1]
    made = of_kind(remedies_for_flags(asked, plan.flags), "make")
    assert (made.lines, made.parent, made.solvent) == ((1,), 102, ETHANOL)
    assert made.parent_grams + made.solvent_grams == made.grams
    assert min(made.parent_grams, made.solvent_grams) >= asked.smallest
    stock = ShelfLot(
        500, "26-0500", lots[0].material, made.strength, {ETHANOL: 1 - made.strength}, made.grams
    )
    after = plan_weighing(replace(asked, lots=(*lots, stock)))
    assert after.flags == ()


@pytest.mark.parametrize(
    ("smallest", "grams", "in_steps"), [("0.1", "100", False), ("0.11", "5", True), ("1", "5", True)]
)
def test_a_stock_is_made_larger_to_be_weighed_well_up_to_a_handy_size_and_in_steps_beyond(
    smallest, grams, in_steps
):
    """5 g of 0.1 % from neat on a coarse balance: 0.1 g of neat makes 100 g, 1 g would make a kilogram."""
    lots = shelf("geraniol 2000g", "ethanol 5000g")
    asked = request(formula("geraniol@0.1%/ethanol 5", "ethanol 5"), lots, "10", smallest=D(smallest))
    made = of_kind(remedies_for_flags(asked, plan_weighing(asked).flags), "make")
    assert (made.strength, made.grams) == (D("0.001"), D(grams))
    assert ("intermediate stock, or on a less coarse balance" in made.sentence) is in_steps
    stock = ShelfLot(500, "26-0500", made.material, made.strength, {ETHANOL: 1 - made.strength}, made.grams)
    assert plan_weighing(replace(asked, lots=(*lots, stock))).flags == ()


def test_a_flagged_plan_offers_the_larger_batch_and_the_lower_strength_that_spare_it():
    lines = formula("geraniol@10%/ethanol 0.1", "linalool@10%/ethanol 8", "ethanol 1.9")
    lots = shelf("geraniol@10%/ethanol 50g", "linalool@10%/ethanol 50g", "ethanol 50g")
    asked = request(lines, lots, "1")
    remedies = remedies_for_flags(asked, plan_weighing(asked).flags)
    assert plan_weighing(replace(asked, total=of_kind(remedies, "mass").total)).flags == ()
    assert of_kind(remedies, "mass").total == D("1.97")
    assert of_kind(remedies, "strength") is None


def test_a_small_pour_of_solvent_needs_no_remedy():
    lines = formula("geraniol@10%/ethanol 9.99", "ethanol 0.01")
    asked = request(lines, shelf("geraniol@10%/ethanol 20g", "ethanol 50g"), "10")
    assert remedies_for_flags(asked, plan_weighing(asked).flags) == ()


def carried_out(asked, remedy):
    """The request with a remedy carried out."""
    if isinstance(remedy, OtherMass):
        return replace(asked, total=remedy.total)
    if isinstance(remedy, OtherStrength):
        return replace(asked, strength=remedy.strength)
    lots = list(asked.lots)
    solvents = {} if remedy.solvent is None else {remedy.solvent: 1 - remedy.strength}
    for at, lot in enumerate(lots):
        if lot.id == remedy.parent:
            lots[at] = replace(lot, available=lot.available - remedy.parent_grams)
    lots.append(ShelfLot(900, "new", remedy.material, remedy.strength, solvents, remedy.grams))
    return replace(asked, lots=tuple(lots))


def remedies_of(asked):
    """The plan if there is one, and the remedies offered for it or for want of it."""
    try:
        plan = plan_weighing(asked)
    except NoPlan as found:
        return None, found
    return plan, remedies_for_flags(asked, plan.flags)


@pytest.mark.parametrize("group", range(10))
def test_every_refusal_has_a_reason_and_every_remedy_helps(group):
    for seed in range(6 * group, 6 * group + 6):
        asked = random_request(seed, bounds=seed % 3 == 0, most_lines=2)
        plan, found = remedies_of(asked)
        if plan is None:
            assert found.reasons
            stocks = [remedy for remedy in found.remedies if isinstance(remedy, NewStock)]
            others = [remedy for remedy in found.remedies if not isinstance(remedy, NewStock)]
            for remedy in [*others, *(stocks if len(stocks) == 1 else [])]:
                plan_weighing(carried_out(asked, remedy))
            continue
        solvents = {line.key for line in asked.lines if line.is_solvent}
        for remedy in found:
            if not isinstance(remedy, NewStock):
                after = plan_weighing(carried_out(asked, remedy))
                assert all(flag.line in solvents for flag in after.flags)
