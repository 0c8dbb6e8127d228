"""The rows of the arithmetic: weigh plan, uncertainty of contents, ways on after an overpour."""

import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from time import perf_counter

import highspy
import numpy as np
from scipy import sparse
from scipy.sparse.linalg import spsolve_triangular

from batches.calc.overpour import OverpourLine, overpour_options
from batches.calc.strength import FormulaLine
from batches.calc.weigh_plan import plan_weighing
from batches.calc.weigh_request import WeighRequest
from inventory.calc.claims import ShelfLot
from inventory.calc.contents import mixed
from inventory.calc.uncertainty import Purity, Weighing, budget
from studio.kernel.mass import nearest_fraction, nearest_mass
from tests.bench.scene import Scene
from tests.bench.table import RUNS, Row, in_turn, milliseconds

STRENGTHS = tuple(Decimal(text) for text in ("1", "0.3", "0.1", "0.03", "0.01", "0.001"))
ETHANOL = 1000


def weigh_plan(scene: Scene) -> list[Row]:
    """120 lines, each with six strengths of four lots on the shelf, at 1.3 times the ceiling as written."""
    requests = [_request(random.Random(seed)) for seed in range(RUNS)]
    plan_weighing(requests[0])
    floors, ours = [], []
    for request in requests:
        with _solver_time() as spent:
            ours.append(milliseconds(lambda request=request: plan_weighing(request)))
        floors.append(1000 * sum(spent))
    return [Row("P7", "weigh plan, 120 lines × 6 strengths × 4 lots", "HiGHS itself", floors, ours, 1.5)]


def contents_uncertainty(scene: Scene) -> list[Row]:
    """2,000 weighings upstream in 100 makings with shared parents, 100 materials."""
    weighings, contents, purities, target = _ancestry(random.Random(1), bottles=100, makings=100, each=20)
    floor = _sparse_product(weighings, contents, purities, target)
    floors, ours = in_turn(
        floor,
        lambda: budget(target=target, weighings=weighings, contents=contents, purities=purities).of_each(),
    )
    return [Row("P8", "uncertainty, 2,000 weighings upstream", "the same in SciPy", floors, ours, 2.0)]


def overpour(scene: Scene) -> list[Row]:
    """The four ways on for sixty lines, thirty of them poured and one 8 % over."""
    rng = random.Random(2)
    lines = []
    for place in range(60):
        target = Decimal(rng.randint(20_000, 3_000_000)).scaleb(-6)
        poured = (
            Decimal(0) if place >= 30 else nearest_mass(target * Decimal("1.08" if place == 7 else "1.004"))
        )
        lines.append(
            OverpourLine(
                str(place), f"line {place}", target, poured, target * 3, Decimal("0.12"), Decimal("0.005")
            )
        )

    def ways() -> None:
        overpour_options(lines=lines, tolerance=Decimal("0.02"), vessel=Decimal(110))

    ways()
    floors, ours = [], []
    for _ in range(RUNS):
        with _solver_time() as spent:
            ours.append(milliseconds(ways))
        floors.append(1000 * sum(spent))
    return [Row("–", "four ways on after an overpour, 60 lines", "HiGHS itself", floors, ours, None)]


ROWS = {"P7": weigh_plan, "P8": contents_uncertainty, "overpour": overpour}


@contextmanager
def _solver_time() -> Iterator[list[float]]:
    """The seconds that HiGHS spends in `run` while the block lasts, one figure a call."""
    spent: list[float] = []
    original = highspy.Highs.run

    def timed(solver: highspy.Highs) -> object:
        started = perf_counter()
        try:
            return original(solver)
        finally:
            spent.append(perf_counter() - started)

    highspy.Highs.run = timed
    try:
        yield spent
    finally:
        highspy.Highs.run = original


def _request(rng: random.Random) -> WeighRequest:
    lines = [
        FormulaLine(
            key,
            key,
            f"m{key}",
            Decimal(rng.randint(200, 5000)) / 1000,
            rng.choice(STRENGTHS[:5]),
            ETHANOL,
            False,
        )
        for key in range(1, 121)
    ]
    odorant = sum(line.parts * line.strength for line in lines)
    ceiling = odorant / sum(line.parts for line in lines)
    lines = [
        line
        if line.strength < 1
        else FormulaLine(line.key, line.material, line.name, line.parts, line.strength, None, False)
        for line in lines
    ]
    free = FormulaLine(121, ETHANOL, "ethanol", Decimal(50), Decimal(1), None, True)
    lots = [lot for line in lines for lot in _lots(rng, line.material)]
    lots.append(ShelfLot(10**6, "solvent", ETHANOL, Decimal(1), {ETHANOL: Decimal(1)}, Decimal(500)))
    return WeighRequest(
        lines=(*lines, free),
        lots=tuple(lots),
        total=Decimal(200),
        strength=nearest_fraction(ceiling * Decimal("1.3")),
        smallest=Decimal("0.02"),
        tolerance=Decimal("0.02"),
        on=date(2026, 3, 1),
    )


def _lots(rng: random.Random, material: int) -> Iterator[ShelfLot]:
    for rank, strength in enumerate(STRENGTHS):
        for place in range(4):
            actual = strength
            if strength < 1:
                actual = nearest_fraction(strength * (1 + Decimal(rng.randint(-15, 15)) / 1000))
            number = material * 100 + rank * 4 + place
            yield ShelfLot(
                number,
                str(number),
                material,
                actual,
                {ETHANOL: 1 - actual} if actual < 1 else {},
                Decimal(rng.choice((1, 4, 20, 60))),
                date(2026, 4, 1 + rng.randint(0, 27)),
                rng.random() < 0.6,
            )


def _ancestry(
    rng: random.Random, *, bottles: int, makings: int, each: int
) -> tuple[list[Weighing], dict[tuple[int, int], dict[int, Decimal]], list[Purity], int]:
    contents: dict[tuple[int, int], dict[int, Decimal]] = {
        (lot, 0): {lot: Decimal(1)} for lot in range(bottles)
    }
    weighings = []
    for made in range(bottles, bottles + makings):
        parts = []
        for source in {*rng.sample(range(made), k=each - 1), made - 1}:
            mass = Decimal(rng.randint(10_000, 5_000_000)).scaleb(-6)
            weighings.append(Weighing(source, 0, made, mass, Decimal("0.0002")))
            parts.append((mass, contents[source, 0]))
        contents[made, 0] = mixed(parts)
    purities = [Purity(lot, lot, Decimal("0.003")) for lot in range(bottles)]
    return weighings, contents, purities, bottles + makings - 1


def _sparse_product(
    weighings: list[Weighing],
    contents: dict[tuple[int, int], dict[int, Decimal]],
    purities: list[Purity],
    target: int,
) -> Callable[[], object]:
    """The same sums with SciPy from the same values: arrays filled, weights by a triangular solve, the squares."""
    count, materials = target + 1, len(purities)

    def product() -> object:
        fractions = np.zeros((count, materials))
        for (lot, _), parts in contents.items():
            fractions[lot, list(parts)] = [float(fraction) for fraction in parts.values()]
        sources = np.array([w.source for w in weighings])
        targets = np.array([w.target for w in weighings])
        masses = np.array([float(w.mass) for w in weighings])
        u = np.array([float(w.standard_uncertainty) for w in weighings])
        purity = np.array([float(p.standard_uncertainty) for p in purities])
        made = np.bincount(targets, masses, count)
        flows = sparse.csr_matrix((masses / made[targets], (sources, targets)), shape=(count, count))
        unit = np.zeros(count)
        unit[target] = 1.0
        weights = spsolve_triangular(sparse.csr_matrix(sparse.identity(count) - flows), unit, lower=False)
        rows = (fractions[sources] - fractions[targets]) * (weights[targets] * u / made[targets])[
            :, np.newaxis
        ]
        return np.sqrt((rows**2).sum(axis=0) + (weights[:materials] * purity) ** 2)

    return product
