"""Random ancestries of lots, and their contents worked out afresh for any kind of number.

`evaluated` follows the making step by step with plain arithmetic, so it serves floats, arrays of random draws
and numbers that carry an uncertainty alike; it knows nothing of the code under test.
"""

import random
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.calc.uncertainty import Loss, Purity, Weighing

SOLVENTS = (0, 1, 2)


@dataclass
class Ancestry:
    bottles: dict = field(default_factory=dict)  # lot -> {material: fraction}
    purities: list = field(default_factory=list)  # (lot, material, u)
    steps: list = field(default_factory=list)  # ("made", lot, [...]) or ("dried", lot, revision, ...)
    target: int = -1
    revision: int = 0


def random_ancestry(seed, *, bottles=5, lots=6, losses=True, purities=True, relative=0.02):
    """Bottles of the solvents and of odorants, then lots made of any earlier ones, some of which dry up."""
    chance = random.Random(seed)
    found = Ancestry()
    for lot in range(bottles):
        held = {lot: 1.0}
        if lot >= len(SOLVENTS) and chance.random() < 0.5:
            held = {lot: 0.7, 50: 0.2, 51: 0.1}
        found.bottles[lot] = held
        for material in held:
            if purities and chance.random() < 0.5:
                found.purities.append((lot, material, relative * held[material] * chance.uniform(0.2, 1)))
    last = dict.fromkeys(found.bottles, 0)
    holds = {lot: set(held) for lot, held in found.bottles.items()}
    for lot in range(bottles, bottles + lots):
        parts = []
        for source in chance.sample(sorted(last), chance.randint(1, min(4, len(last)))):
            revision = chance.randint(0, last[source])
            mass = round(chance.uniform(0.5, 5), 6)
            parts.append((source, revision, mass, mass * relative * chance.random()))
        found.steps.append(("made", lot, parts))
        last[lot] = 0
        holds[lot] = set().union(*(holds[source] for source, *_ in parts))
        solvents = sorted(holds[lot] & set(SOLVENTS))
        for _ in range(2):
            lost = set(chance.sample(solvents, chance.randint(1, len(solvents)))) if solvents else set()
            # A lot of nothing but what evaporates keeps its contents: there is no loss to see.
            if losses and lost and holds[lot] - lost and chance.random() < 0.5:
                last[lot] += 1
                u = relative * chance.uniform(0.1, 0.5)
                found.steps.append(("dried", lot, last[lot], lost, chance.uniform(0.05, 0.3), u))
    found.target, found.revision = lot, last[lot]
    return found


def evaluated(ancestry, *, mass_of=None, fraction_of=None, factor_of=None):
    """{(lot, revision): {material: fraction}}, and the factor κ of every loss.

    The three callables turn (place in the list of sources, nominal value) into the number to reckon with.
    """
    keep = lambda key, nominal: nominal  # noqa: E731
    mass_of, fraction_of, factor_of = mass_of or keep, fraction_of or keep, factor_of or keep
    contents = {}
    factors = {}
    declared = {(lot, material) for lot, material, _ in ancestry.purities}
    for lot, held in ancestry.bottles.items():
        now = {m: fraction_of((lot, m), x) for m, x in held.items() if (lot, m) in declared}
        others = {m: x for m, x in held.items() if (lot, m) not in declared}
        left = 1 - sum(now.values())
        contents[lot, 0] = now | {m: x * left / sum(others.values()) for m, x in others.items()}
    for step in ancestry.steps:
        if step[0] == "made":
            _, lot, parts = step
            masses = [mass_of((lot, place), part[2]) for place, part in enumerate(parts)]
            grams = {}
            for mass, (source, revision, _, _) in zip(masses, parts, strict=True):
                for material, fraction in contents[source, revision].items():
                    grams[material] = grams.get(material, 0) + mass * fraction
            contents[lot, 0] = {m: g / sum(masses) for m, g in grams.items()}
        else:
            _, lot, revision, lost, part_lost, _ = step
            before = contents[lot, revision - 1]
            solvent = sum(x for m, x in before.items() if m in lost)
            if (lot, revision) not in factors:
                nominal = getattr(solvent, "nominal_value", solvent)
                nominal = nominal if isinstance(nominal, float) else float(nominal.mean())
                factors[lot, revision] = 1 / (1 - part_lost * nominal)
            factor = factor_of((lot, revision), factors[lot, revision])
            # Whatever is no lost solvent, named or not, is still there: 1 − solvent of it, in fewer grams.
            weaker = (1 - factor * (1 - solvent)) / solvent
            contents[lot, revision] = {m: x * (weaker if m in lost else factor) for m, x in before.items()}
    return contents, factors


def as_input(ancestry):
    """The ancestry as keyword arguments for `budget`."""
    contents, factors = evaluated(ancestry)
    weighings, losses = [], []
    for step in ancestry.steps:
        if step[0] == "made":
            weighings += [Weighing(s, r, step[1], Decimal(m), Decimal(u)) for s, r, m, u in step[2]]
        else:
            # A relative uncertainty of κ, divided 3 : 4 between the two masses that gave it.
            _, lot, revision, _, _, u = step
            book = Decimal(7)
            actual = book / Decimal(factors[lot, revision])
            u = Decimal(u)
            losses.append(
                Loss(lot, revision, book, actual, book * u * Decimal("0.6"), actual * u * Decimal("0.8"))
            )
    return {
        "target": ancestry.target,
        "revision": ancestry.revision,
        "weighings": weighings,
        "contents": {k: {m: Decimal(float(x)) for m, x in v.items()} for k, v in contents.items()},
        "purities": [Purity(lot, m, Decimal(u)) for lot, m, u in ancestry.purities],
        "losses": losses,
    }
