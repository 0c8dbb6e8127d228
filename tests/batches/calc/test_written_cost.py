"""What a formula would cost as written, and which lots that rests on."""

from decimal import Decimal

from batches.calc.strength import FormulaLine
from batches.calc.written_cost import written_cost
from inventory.calc.claims import ShelfLot

ETHANOL, LINALOOL = 1, 2
SOLVENT = FormulaLine(2, ETHANOL, "ethanol", Decimal(1), Decimal(1), None, is_solvent=True)


def lot(number, material, strength, cost, solvents=None):
    return ShelfLot(
        id=number,
        number=str(number),
        material=material,
        strength=Decimal(strength),
        solvents=solvents or {},
        available=Decimal(10),
        cost_per_gram=None if cost is None else Decimal(cost),
    )


def line(strength="0.1"):
    solvent = ETHANOL if Decimal(strength) < 1 else None
    return FormulaLine(1, LINALOOL, "linalool", Decimal(1), Decimal(strength), solvent, is_solvent=False)


def ids(basis):
    return [one.id for one in basis.lots]


def test_a_line_costs_what_the_newest_lot_of_its_dilution_costs():
    shelf = [
        lot(1, LINALOOL, "0.1", "5", {ETHANOL: Decimal("0.9")}),
        lot(2, LINALOOL, "0.101", "2", {ETHANOL: Decimal("0.899")}),
        lot(3, LINALOOL, "1", "40"),
        lot(4, ETHANOL, "1", "0.5"),
    ]
    found = written_cost([line(), SOLVENT], shelf)
    assert [ids(basis) for basis in found.bases] == [[2], [4]]
    assert found.cost.total == Decimal("125")  # 50 g at 2, 50 g at 0.5
    assert found.without == ()


def test_without_a_lot_of_the_dilution_it_costs_neat_and_solvent_in_proportion():
    shelf = [lot(3, LINALOOL, "1", "40"), lot(4, ETHANOL, "1", "0.5")]
    found = written_cost([line()], shelf)
    assert ids(found.bases[0]) == [3, 4]
    assert found.bases[0].from_neat
    assert found.cost.total == Decimal("445")  # 10 g at 40, 90 g at 0.5


def test_a_lot_in_another_solvent_is_not_that_dilution():
    water = lot(1, LINALOOL, "0.1", "5", {3: Decimal("0.9")})
    assert written_cost([line()], [water]).without == (1,)


def test_a_lot_with_a_price_goes_before_a_newer_one_without():
    shelf = [
        lot(3, LINALOOL, "1", "40"),
        lot(4, ETHANOL, "1", "0.5"),
        lot(9, LINALOOL, "0.1", None, {ETHANOL: Decimal("0.9")}),
    ]
    assert ids(written_cost([line()], shelf).bases[0]) == [3, 4]


def test_what_has_no_price_is_named_and_never_counted_as_free():
    found = written_cost([line("1"), SOLVENT], [lot(3, LINALOOL, "1", None), lot(4, ETHANOL, "1", "0.5")])
    assert found.without == (1,)
    assert found.cost.total is None
    assert found.cost.known == Decimal("25")


def test_a_trace_below_a_microgram_costs_nothing():
    trace = FormulaLine(1, LINALOOL, "linalool", Decimal("1e-6"), Decimal(1), None, is_solvent=False)
    heavy = FormulaLine(2, ETHANOL, "ethanol", Decimal("1e9"), Decimal(1), None, is_solvent=True)
    found = written_cost([trace, heavy], [lot(3, LINALOOL, "1", "40"), lot(4, ETHANOL, "1", "0.5")])
    assert found.cost.total == Decimal("50")
