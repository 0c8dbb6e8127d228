"""Netting, explosion and lot sizes against published planning examples; the source stands beside the values.

Weeks are days here and pieces are grams. "Computed": the source prints the data, the result was reckoned separately.
"""

from datetime import date, timedelta
from decimal import Decimal
from statistics import NormalDist

import pytest

from batches.calc.remake_lot_sizes import cheapest_runs, economic_quantity
from batches.calc.remake_pars import safety_factor, suggested_par
from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import Demand, Input, Item, ItemKey, Receipt, Recipe, RemakeRequest, StockLot

START = date(2026, 1, 1)


def week(number):
    return START + timedelta(number)


def plan(*, recipes, lead, on_hand=None, receipts=(), gross, sizes=None, weeks=30):
    """A plan in letters: `recipes` "A": {"B": 2}, `lead` in weeks, `gross` as (item, week, amount); lot for lot."""
    letters = sorted({*lead, *(one for inputs in recipes.values() for one in inputs)})
    keys = {letter: ItemKey(number) for number, letter in enumerate(letters, 1)}
    smallest, largest = sizes or (0, None)
    made = plan_remakes(
        RemakeRequest(
            today=START,
            until=week(weeks),
            items=tuple(Item(keys[letter], letter) for letter in letters),
            lots=tuple(
                StockLot(number, letter, keys[letter], Decimal(amount))
                for number, (letter, amount) in enumerate((on_hand or {}).items())
            ),
            receipts=tuple(
                Receipt(f"{of}{when}", "receipt", keys[of], week(when), Decimal(n))
                for of, when, n in receipts
            ),
            demands=tuple(
                Demand(f"{of}{when}", "gross", keys[of], week(when), Decimal(n)) for of, when, n in gross
            ),
            recipes=tuple(
                Recipe(
                    keys[letter],
                    tuple(Input(keys[one], Decimal(parts)) for one, parts in inputs.items()),
                    making_days=lead[letter],
                    makes=Decimal(1),
                    smallest=Decimal(smallest),
                    largest=None if largest is None else Decimal(largest),
                )
                for letter, inputs in recipes.items()
            ),
            making_worth=Decimal(0),
        )
    )
    assert not made.late
    releases: dict[str, dict[int, Decimal]] = {}
    for row in made.makings:
        of = releases.setdefault(row.name, {})
        of[(row.start_on - START).days] = of.get((row.start_on - START).days, Decimal(0)) + row.mass
    return releases, made


RAW = {"raw": 1}
"""Something every single item of the examples is made of, of which there is no end."""
ENDLESS = {"raw": 100_000}


def test_netting_the_valve_casings_of_the_trumpet():
    """Nahmias, Production and Operations Analysis, valve casing assembly: on hand 186, 96 to come a week later, lead three
    weeks, gross from week 4; the first three nets 0, 0, 66 are printed in words, the others computed.
    """
    gross = [3 * trumpets for trumpets in (42, 42, 32, 12, 26, 112, 45, 14, 76, 38)]
    releases, _ = plan(
        recipes={"V": RAW},
        lead={"V": 3},
        on_hand={"V": 186, **ENDLESS},
        receipts=[("V", 5, 96)],
        gross=[("V", 4 + at, amount) for at, amount in enumerate(gross)],
    )
    nets = [66, 36, 78, 336, 135, 42, 228, 114]
    assert releases == {"V": {6 + at - 3: net for at, net in enumerate(nets)}}


def test_a_fixed_lot_of_seat_subassemblies():
    """Krajewski/Ritzman, Operations Management, seat subassembly: lot 230, lead 2, on hand 37, receipt 230 in week 1 (data
    printed); releases in weeks 2 and 5 and 187 left over computed.
    """
    gross = (150, 0, 0, 120, 0, 150, 120, 0)
    releases, made = plan(
        recipes={"S": RAW},
        lead={"S": 2},
        on_hand={"S": 37, **ENDLESS},
        receipts=[("S", 1, 230)],
        gross=[("S", at, amount) for at, amount in enumerate(gross, 1) if amount],
        sizes=(230, 230),
    )
    assert releases == {"S": {2: 230, 5: 230}}
    spare = sum(peg.mass for row in made.makings for peg in row.pegs if peg.sort == "spare")
    assert spare == 187


def test_lot_for_lot_of_one_item():
    """Tutors' worked exercise (data printed: lead 2, on hand 120), result computed."""
    releases, _ = plan(
        recipes={"L": RAW},
        lead={"L": 2},
        on_hand={"L": 120, **ENDLESS},
        gross=[("L", at, n) for at, n in enumerate((41, 44, 84, 42, 84, 86, 7, 18, 49, 30), 1)],
    )
    assert releases == {"L": dict(enumerate((49, 42, 84, 86, 7, 18, 49, 30), 1))}


def test_two_levels_where_one_part_goes_into_two():
    """Exercise "A = 2 B + 3 C" with lead times 1 2 2 3 2 3, 95 A in week 10 (data printed), releases computed."""
    releases, _ = plan(
        recipes={
            "A": {"B": 2, "C": 3},
            "B": {"D": 2, "E": 3},
            "C": {"F": 2, "E": 1},
            "D": RAW,
            "E": RAW,
            "F": RAW,
        },
        lead={"A": 1, "B": 2, "C": 2, "D": 3, "E": 2, "F": 3},
        on_hand=ENDLESS,
        gross=[("A", 10, 95)],
    )
    assert releases == {
        "A": {9: 95},
        "B": {7: 190},
        "C": {7: 285},
        "D": {4: 380},
        "E": {5: 855},
        "F": {4: 570},
    }


def test_two_levels_with_a_part_of_a_part():
    """Exercise "Z = 2 A + 3 B" with 59 Z in week 10 (data printed), releases computed."""
    releases, _ = plan(
        recipes={"Z": {"A": 2, "B": 3}, "A": {"C": 4, "D": 4}, "D": {"E": 2}, "B": RAW, "C": RAW, "E": RAW},
        lead={"Z": 2, "A": 1, "B": 1, "C": 1, "D": 1, "E": 3},
        on_hand=ENDLESS,
        gross=[("Z", 10, 59)],
    )
    assert releases == {
        "Z": {8: 59},
        "A": {7: 118},
        "B": {7: 177},
        "C": {6: 472},
        "D": {6: 472},
        "E": {3: 944},
    }


def test_four_levels_with_stock_on_each():
    """Heizer/Render, Operations Management, speaker kits (data from memory): 50 A in week 8, net requirements computed."""
    releases, _ = plan(
        recipes={
            "A": {"B": 2, "C": 3},
            "B": {"D": 2, "E": 2},
            "C": {"E": 2, "F": 2},
            "F": {"G": 1, "D": 2},
            "D": RAW,
            "E": RAW,
            "G": RAW,
        },
        lead={"A": 1, "B": 2, "C": 1, "D": 1, "E": 2, "F": 3, "G": 2},
        on_hand={"A": 10, "B": 15, "C": 20, "D": 10, "E": 10, "F": 5, **ENDLESS},
        gross=[("A", 8, 50)],
    )
    assert releases == {
        "A": {7: 40},
        "B": {5: 65},
        "C": {6: 100},
        "E": {3: 120, 4: 200},
        "F": {3: 195},
        "G": {1: 195},
        "D": {2: 380, 4: 130},
    }


def joined(demand, setups, holding):
    found = cheapest_runs(list(range(len(demand))), demand, setups=setups, holding=holding)
    made = [0] * len(demand)
    for first, last in found.runs:
        made[first] = sum(demand[first:last])
    return found.cost, made


def test_the_dynamic_lot_sizes_of_the_southampton_lecture():
    """Lecture on lot sizing, University of Southampton: K 100, h 2; cost 320 by 70 0 0 50 0, printed and computed."""
    assert joined([40, 20, 10, 30, 20], [100] * 5, 2) == (320, [70, 0, 0, 50, 0])


def test_the_dynamic_lot_sizes_of_wagner_and_whitin():
    """Wagner and Whitin, Management Science 5 (1958): data from memory, cost 864 computed."""
    demand = [69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56]
    setups = [85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114]
    assert joined(demand, setups, 1) == (864, [98, 0, 97, 0, 121, 0, 0, 112, 0, 67, 135, 0])


def silver_meal(demand, setup, holding):
    """The rule of least cost per period, as a reference only: the plan uses the exact programme."""

    def extends(first, last):
        def per_period(end):
            return (setup + holding * sum((at - first) * demand[at] for at in range(first, end))) / (
                end - first
            )

        return per_period(last + 1) <= per_period(last)

    return _by_rule(demand, setup, holding, extends)


def part_period(demand, setup, holding):
    """Part-period balancing: join as long as that brings keeping nearer to a setup. A reference only."""

    def extends(first, last):
        def off(end):
            return abs(holding * sum((at - first) * demand[at] for at in range(first, end)) - setup)

        return off(last + 1) <= off(last)

    return _by_rule(demand, setup, holding, extends)


def _by_rule(demand, setup, holding, extends):
    made, cost, first = [0] * len(demand), 0, 0
    while first < len(demand):
        last = first + 1
        while last < len(demand) and extends(first, last):
            last += 1
        made[first] = sum(demand[first:last])
        cost += setup + holding * sum((at - first) * demand[at] for at in range(first, last))
        first = last
    return cost, made


def test_the_exact_programme_is_as_cheap_as_the_rule_of_least_cost_per_period():
    """Lecture example (printed): K 80, h 2; the rule gives 48 0 47 0 20 at 310, and so does the exact 48 0 67 0 0."""
    demand = [18, 30, 42, 5, 20]
    assert silver_meal(demand, 80, 2) == (310, [48, 0, 47, 0, 20])
    assert joined(demand, [80] * 5, 2) == (310, [48, 0, 67, 0, 0])


def test_two_rules_of_thumb_and_the_exact_programme_agree_on_774():
    """Worked example (printed): K 200, h 2; least cost per period 120 0 117 0 50, balancing 120 0 167 0 0, both 774."""
    demand = [45, 75, 105, 12, 50]
    assert silver_meal(demand, 200, 2) == (774, [120, 0, 117, 0, 50])
    assert part_period(demand, 200, 2) == (774, [120, 0, 167, 0, 0])
    assert joined(demand, [200] * 5, 2)[0] == 774


def test_twelve_months_of_silver_and_meal():
    """Silver and Meal's twelve months: K 54, h 0.4; data from memory, 501.20 computed."""
    demand = [10, 62, 12, 130, 154, 129, 88, 52, 124, 160, 238, 41]
    cost, made = joined(demand, [540] * 12, 4)
    assert (Decimal(cost) / 10, made) == (Decimal("501.2"), [84, 0, 0, 130, 283, 0, 140, 0, 124, 160, 279, 0])


@pytest.mark.parametrize(
    ("use", "setup", "holding", "quantity"),
    [(1000, 10, ".50", "200"), (1200, 10, ".50", "219.09"), (2400, 5, 4, "77.46")],
)
def test_economic_quantities(use, setup, holding, quantity):
    """Worked examples (printed): 200 and 219 a year's lots, 77.46 of the bookshop."""
    found = economic_quantity(use=Decimal(use), setup=Decimal(setup), holding=Decimal(holding))
    assert round(found, 2) == Decimal(quantity)


def test_the_reorder_point_of_2400_a_year():
    """Worked example (printed): 2400 a year, 7 days' lead, σ 4 a day, z 2.05: 46.03 + 21.70 = 67.73."""
    par = suggested_par(
        mean_a_day=Decimal(2400) / 365, deviation_a_day=Decimal(4), lead_days=7, z=Decimal("2.05")
    )
    assert (round(par.low - par.margin, 2), round(par.margin, 2)) == (Decimal("46.03"), Decimal("21.70"))


def test_the_reorder_point_of_70_a_day():
    """Worked example (printed): 70 a day, 4 days, σ over the lead time 15, z 1.65: safety 24.75, reorder at 304.75 (305)."""
    low = suggested_par(
        mean_a_day=Decimal(70), deviation_a_day=Decimal(15) / 2, lead_days=4, z=Decimal("1.65")
    ).low
    assert low == Decimal("304.75")


@pytest.mark.parametrize("service", [".80", ".84", ".90", ".95", ".975", ".98", ".99", ".995", ".999"])
def test_safety_factors_are_quantiles_of_the_normal_distribution(service):
    """Tables of the standard normal distribution, to four places, computed."""
    table = {
        ".80": ".8416",
        ".84": ".9945",
        ".90": "1.2816",
        ".95": "1.6449",
        ".975": "1.9600",
        ".98": "2.0537",
        ".99": "2.3263",
        ".995": "2.5758",
        ".999": "3.0902",
    }
    assert safety_factor(Decimal(service)) == pytest.approx(Decimal(table[service]), abs=Decimal("0.00005"))
    assert float(safety_factor(Decimal(service))) == pytest.approx(NormalDist().inv_cdf(float(service)))
