"""Small random formulas and shelves: shared materials, several solvents, scarce, old, held and new lots, odd strengths."""

import random
from datetime import date
from decimal import Decimal

from batches.calc.strength import FormulaLine, odorant_parts, total_parts
from batches.calc.weigh_request import SolventBound, WeighRequest
from inventory.calc.claims import ShelfLot

D = Decimal
DAY = date(2026, 1, 10)
STRENGTHS = (D("1"), D("0.5"), D("0.1"), D("0.01"))
EXPIRIES = (None, date(2026, 1, 9), DAY, date(2026, 3, 1), date(2026, 5, 1))
BOUNDS = (
    SolventBound(highest=D("0.3")),
    SolventBound(highest=D("0.7")),
    SolventBound(lowest=D("0.2")),
    SolventBound(lowest=D("0.1"), highest=D("0.5")),
)


def random_request(seed, *, bounds=False, free=None, most_lines=3):
    """A request that follows from the seed alone; materials 1 and 2 are the solvents."""
    chance = random.Random(seed)
    count = chance.randint(1, most_lines)
    materials = [10 + place for place in range(count)]
    if count > 1 and chance.random() < 0.35:
        materials[1] = materials[0]
    solvents = chance.choice([1, 1, 1, 2]) if free is None else free
    lines = [_line(chance, key, materials[key - 1]) for key in range(1, count + 1)]
    lines += [
        FormulaLine(
            count + 1 + at, 1 + at, f"solvent {1 + at}", D(chance.randint(1, 60)) / 10, D(1), None, True
        )
        for at in range(solvents)
    ]
    lots = []
    for material in sorted(set(materials)):
        for _ in range(chance.randint(1, 3 if count < 3 else 2) + materials.count(material) - 1):
            lots.append(_lot(chance, len(lots) + 1, material))
    for at in range(solvents):
        for _ in range(chance.randint(1, 2)):
            lots.append(_solvent_lot(chance, len(lots) + 1, 1 + at))
    return WeighRequest(
        lines=tuple(lines),
        lots=tuple(lots),
        total=D(chance.choice(["0.1", "0.2", "0.5", "1", "2"])),
        smallest=D("0.02"),
        tolerance=D(chance.choice(["0.02", "0.05", "0"])),
        on=DAY,
        strength=_strength(chance, lines),
        solvent_bounds={chance.choice([1, 2]): chance.choice(BOUNDS)} if bounds else {},
    )


def _line(chance, key, material):
    strength = chance.choice(STRENGTHS)
    solvent = None if strength == 1 else chance.choice([1, 1, 2, None])
    return FormulaLine(key, material, f"m{material}", D(chance.randint(1, 40)) / 10, strength, solvent, False)


def _lot(chance, number, material):
    strength = chance.choice(STRENGTHS)
    if strength < 1 and chance.random() < 0.6:
        strength *= D(chance.randint(960, 1040)) / 1000
    solvents = {} if strength == 1 else {chance.choice([1, 1, 1, 2]): 1 - strength}
    masses = [D(text) for text in ("0.015", "0.05", "0.1", "0.3", "0.8", "2", "5", "5", "5")]
    available = chance.choice(masses) if chance.random() < 0.8 else D(chance.randint(1, 3_000_000)).scaleb(-6)
    return ShelfLot(
        id=number,
        number=f"L{number}",
        material=material,
        strength=strength,
        solvents=solvents,
        available=available,
        expires_on=chance.choice(EXPIRIES) if chance.random() < 0.6 else None,
        opened=chance.random() < 0.5,
        held=chance.random() < 0.05,
        cost_per_gram=chance.choice([None, D("0.5"), D("1.25")]),
    )


def _solvent_lot(chance, number, solvent):
    return ShelfLot(
        number,
        f"L{number}",
        solvent,
        D(1),
        {solvent: D(1)},
        D(chance.choice(["0.1", "0.8", "5", "5"])),
        chance.choice((None, DAY)),
        chance.random() < 0.5,
    )


def _strength(chance, lines):
    if chance.random() < 0.4:
        return None
    written = odorant_parts(lines) / total_parts(lines)
    factor = D(chance.choice(["0.5", "0.8", "1.1", "1.3", "2", "4"]))
    return min(D(1), max(D("0.0001"), (written * factor).quantize(D("0.0001"))))
