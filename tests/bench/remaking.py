"""The row of the remake plan: half a year of a busy studio, reckoned from a request that is there already."""

import random
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal

from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import Demand, Input, Item, ItemKey, Offer, Recipe, RemakeRequest, StockLot
from studio.kernel.mass import micrograms
from tests.bench.scene import Scene
from tests.bench.table import Row, in_turn

TODAY = date(2026, 3, 2)
DAYS = 182
ALCOHOL = ItemKey(1)
STRENGTHS = tuple(map(Decimal, ("0.2", "0.1", "0.05", "0.01", "0.001")))


def remake_plan(scene: Scene) -> list[Row]:
    """10,000 dated batches of eight lines, 3,000 recipes, 300 materials, 10,000 lots, 26 weeks."""
    request = busy_studio(random.Random(7))
    floors, ours = in_turn(lambda: plainly_netted(request), lambda: plan_remakes(request), runs=3)
    return [
        Row("P9", "remake plan, 10,000 batches, 3,000 recipes", "plain netting in Python", floors, ours, 2.0)
    ]


ROWS = {"P9": remake_plan}


def plainly_netted(request: RemakeRequest) -> dict[ItemKey, list[tuple[int, int]]]:
    """Lot for lot: each item's needs added up by day, netted with what is good then, the rest handed to its inputs.

    No pegs, no joining, no sizes, no pars, nothing late: the least that any plan of this request has to reckon.
    """
    recipes = {recipe.item: recipe for recipe in reversed(request.recipes)}
    wanted: dict[ItemKey, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for demand in request.demands:
        wanted[demand.item][demand.day.toordinal()] += micrograms(demand.mass)
    stock: dict[ItemKey, list[list[int]]] = defaultdict(list)
    for lot in request.lots:
        until = lot.expires_on.toordinal() if lot.expires_on else 10**8
        stock[lot.item].append([until, micrograms(lot.mass)])
    made: dict[ItemKey, list[tuple[int, int]]] = {}
    for item in _from_the_top(recipes, [one.key for one in request.items]):
        made[item] = list(_short(sorted(wanted[item].items()), sorted(stock[item])))
        recipe = recipes.get(item)
        if recipe is None:
            continue
        for day, mass in made[item]:
            for portion in recipe.inputs:
                share = int(mass * portion.parts / recipe.yield_parts)
                wanted[portion.item][day - recipe.lead_days] += share
    return made


def _short(needs: list[tuple[int, int]], stock: list[list[int]]) -> Iterator[tuple[int, int]]:
    for day, mass in needs:
        left = mass
        for lot in stock:
            if left and lot[0] >= day:
                taken = min(lot[1], left)
                lot[1] -= taken
                left -= taken
        if left:
            yield day, left


def _from_the_top(recipes: dict[ItemKey, Recipe], items: list[ItemKey]) -> list[ItemKey]:
    """Items with what takes before what is taken."""
    done: dict[ItemKey, None] = {}

    def visit(item: ItemKey) -> None:
        if item in done:
            return
        for portion in recipes[item].inputs if item in recipes else ():
            visit(portion.item)
        done[item] = None

    for item in items:
        visit(item)
    return list(reversed(done))


def busy_studio(rng: random.Random) -> RemakeRequest:
    """Each material in five strengths, one made of the other, bases of six or seven, some of them inside others."""
    items, recipes, offers = [Item(ALCOHOL, "ethanol")], [], [_offer(rng, 1, ALCOHOL)]
    stocks: list[ItemKey] = []
    for material in range(2, 302):
        above = ItemKey(material)
        items.append(Item(above, f"material {material}", shelf_life_days=rng.choice((None, 720, 360))))
        offers.append(_offer(rng, material, above))
        for strength in STRENGTHS:
            stock = ItemKey(material, strength, ALCOHOL.material)
            low, full = (Decimal(20), Decimal(60)) if rng.random() < 0.3 else (Decimal(0), None)
            items.append(Item(stock, f"{material} at {strength}", low, full, rng.choice((None, 180, 90))))
            share = strength / above.strength
            recipes.append(
                _recipe(stock, [Input(above, share), Input(ALCOHOL, 1 - share)], 0, rng.randint(0, 2))
            )
            stocks.append(stock)
            above = stock
    bases: list[ItemKey] = []
    for number in range(1500):
        base = ItemKey(10_000 + number)
        items.append(Item(base, f"base {number}", shelf_life_days=rng.choice((None, 365, 120))))
        inside = rng.sample(stocks, 6) + ([rng.choice(bases)] if bases and rng.random() < 0.5 else [])
        lines = [Input(one, Decimal(rng.randint(1, 19))) for one in inside]
        recipes.append(_recipe(base, lines, 1, rng.choice((0, 7, 14))))
        bases.append(base)
    return RemakeRequest(
        today=TODAY,
        until=TODAY + timedelta(days=DAYS),
        items=tuple(items),
        lots=tuple(_lots(rng, [item.key for item in items])),
        demands=tuple(_demands(rng, stocks, bases)),
        recipes=tuple(recipes),
        offers=tuple(offers),
    )


def _recipe(item: ItemKey, inputs: list[Input], making: int, resting: int) -> Recipe:
    return Recipe(item, tuple(inputs), making, resting, smallest=Decimal(5), largest=Decimal(200))


def _offer(rng: random.Random, number: int, item: ItemKey) -> Offer:
    pack, price = Decimal(rng.choice((10, 50, 100))), Decimal(rng.randint(5, 80))
    return Offer(number, number % 12, f"supplier {number % 12}", item, pack, price, rng.randint(2, 14))


def _lots(rng: random.Random, keys: list[ItemKey]) -> Iterator[StockLot]:
    for number in range(1, 10_001):
        ends = rng.choice((None, TODAY + timedelta(days=rng.randint(1, 400))))
        yield StockLot(number, f"{number}", rng.choice(keys), Decimal(rng.randint(1, 11)), None, ends)


def _demands(rng: random.Random, stocks: list[ItemKey], bases: list[ItemKey]) -> Iterator[Demand]:
    for number in range(10_000):
        day = TODAY + timedelta(days=rng.randrange(DAYS))
        for item in (*rng.sample(stocks, 6), *rng.sample(bases, 2)):
            yield Demand(f"B{number}", f"batch {number}", item, day, Decimal(rng.randint(1, 4000)).scaleb(-3))
