"""Tracing back and forward, against path enumeration by NetworkX on random ancestries with shared parents."""

import random
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

import networkx as nx
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.ledger import Posting, post
from inventory.actions.lots import Share, add_lots
from inventory.models import Lot, LotKind, Reason
from inventory.queries.trace import trace_lot
from studio.kernel.work import work
from tests.conftest import NOW

Pours = Sequence[tuple[int, int, Decimal]]


def made_lots(bench: Any, generations: Sequence[int], pours: Pours) -> list[Lot]:
    """Lots in generations (the first are bottles of a kilogram), poured into each other as told."""
    material = bench.material("linalool")
    count = sum(generations)
    made_mass = [Decimal(0)] * count
    for _, target, mass in pours:
        made_mass[target] += mass
    for bottle in range(generations[0]):
        made_mass[bottle] = Decimal(1000)
    with work():
        lots = add_lots(
            by=bench.by,
            now=NOW,
            lots=[
                Lot(
                    kind=LotKind.BOTTLE if place < generations[0] else LotKind.BLEND,
                    title=f"lot {place}",
                    material=material,
                    made_mass=made_mass[place],
                    made_at=NOW,
                )
                for place in range(count)
            ],
            contents=[{material.id: Share(Decimal(1))}] * count,
        )
        received = [
            Posting(mass=Decimal(1000), reason=Reason.RECEIVED, at=NOW, target=lot)
            for lot in lots[: generations[0]]
        ]
        poured = [
            Posting(mass=mass, reason=Reason.WEIGHED_IN, at=NOW, source=lots[source], target=lots[target])
            for source, target, mass in pours
        ]
        post(by=bench.by, now=NOW, postings=received)
        # One making after the other, as it happens: what is poured must be there.
        for posting in sorted(poured, key=lambda one: one.target.id):
            post(by=bench.by, now=NOW, postings=[posting])
    return lots


def random_pours(rng: random.Random, generations: Sequence[int]) -> Pours:
    """Every lot beyond the bottles takes from two to four earlier ones, less than they hold."""
    left = [Decimal(1000)] * generations[0] + [Decimal(0)] * sum(generations[1:])
    pours = []
    for target in range(generations[0], sum(generations)):
        for source in rng.sample(range(target), k=min(target, rng.randint(2, 4))):
            most = left[source] / 3
            mass = Decimal(rng.randint(1, 10**6)).scaleb(-6) * most
            mass = mass.quantize(Decimal("0.000001"))
            if mass > 0:
                left[source] -= mass
                left[target] += mass
                pours.append((source, target, mass))
    return pours


def share_by_paths(pours: Pours, ancestor: int, descendant: int, made: dict[int, Fraction]) -> Fraction:
    """Grams of `ancestor` in the whole of `descendant`: the sum over all paths of the product of shares."""
    graph = nx.DiGraph()
    for source, target, mass in pours:
        known = graph.get_edge_data(source, target, {"mass": Fraction(0)})["mass"]
        graph.add_edge(source, target, mass=known + Fraction(mass))
    total = Fraction(0)
    for path in nx.all_simple_edge_paths(graph, ancestor, descendant):
        product = Fraction(1)
        for source, target in path:
            product *= graph[source][target]["mass"] / made[target]
        total += product
    return total * made[descendant]


@pytest.mark.parametrize("seed", range(6))
def test_a_trace_ten_generations_deep_has_the_masses_that_all_paths_add_up_to(bench: Any, seed: int) -> None:
    rng = random.Random(seed)
    generations = [3] + [1] * 9
    pours = random_pours(rng, generations)
    lots = made_lots(bench, generations, pours)
    last = len(lots) - 1
    made = {place: Fraction(lot.made_mass) for place, lot in enumerate(lots)}
    by_number = {lot.number: place for place, lot in enumerate(lots)}

    back = trace_lot(lot=lots[last], direction="back")

    for traced in back.lots:
        expected = share_by_paths(pours, by_number[traced.lot.number], last, made)
        assert abs(Fraction(traced.mass) - expected) <= Fraction(1, 10**6)
    assert {by_number[traced.lot.number] for traced in back.lots} == nx.ancestors(
        nx.DiGraph([(source, target) for source, target, _ in pours]), last
    )


@pytest.mark.parametrize("seed", range(6))
def test_tracing_a_bottle_forward_finds_everything_it_touched_and_how_much(bench: Any, seed: int) -> None:
    rng = random.Random(100 + seed)
    generations = [3] + [1] * 9
    pours = random_pours(rng, generations)
    lots = made_lots(bench, generations, pours)
    made = {place: Fraction(lot.made_mass) for place, lot in enumerate(lots)}
    by_number = {lot.number: place for place, lot in enumerate(lots)}

    forward = trace_lot(lot=lots[0], direction="forward")

    graph = nx.DiGraph([(source, target) for source, target, _ in pours])
    graph.add_node(0)
    assert {by_number[traced.lot.number] for traced in forward.lots} == nx.descendants(graph, 0)
    for traced in forward.lots:
        expected = share_by_paths(pours, 0, by_number[traced.lot.number], made)
        assert abs(Fraction(traced.mass) - expected) <= Fraction(1, 10**6)


def test_the_bottles_behind_a_lot_add_up_to_its_mass(bench: Any) -> None:
    generations = [4] + [1] * 8
    lots = made_lots(bench, generations, random_pours(random.Random(7), generations))
    back = trace_lot(lot=lots[-1], direction="back")
    bottles = sum(traced.mass for traced in back.lots if traced.lot.kind == LotKind.BOTTLE)
    assert abs(bottles - lots[-1].made_mass) <= Decimal("0.000004")


def test_a_ladder_of_shared_parents_is_traced_without_walking_every_path(bench: Any) -> None:
    """Forty rungs of two lots, each made of both below: a million million paths, eighty lots."""
    rungs = 40
    pours = []
    for rung in range(1, rungs):
        for side in (0, 1):
            for below in (0, 1):
                pours.append((2 * rung - 2 + below, 2 * rung + side, Decimal("0.4")))
    lots = made_lots(bench, [2] + [2] * (rungs - 1), pours)

    with CaptureQueriesContext(connection) as queries:
        back = trace_lot(lot=lots[-1], direction="back")

    assert len(back.lots) == 2 * rungs - 2
    assert back.lots[-1].generation == rungs - 1
    assert len(queries) == 2


def test_the_statements_of_a_trace_do_not_grow_with_lots_or_generations(bench: Any) -> None:
    counts = set()
    for generations in ([2, 1], [5, 1, 1, 1, 1], [9] + [1] * 12):
        lots = made_lots(bench, generations, random_pours(random.Random(3), generations))
        for direction in ("back", "forward"):
            with CaptureQueriesContext(connection) as queries:
                trace_lot(lot=lots[-1], direction=direction)
            counts.add(len(queries))
    assert counts == {2}
