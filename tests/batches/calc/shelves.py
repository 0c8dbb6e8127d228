"""Formulas and shelves as short text, so that a case is read at a glance.

A line is "geraniol@10%/ethanol 4.2" (material, dilution, its solvent, parts), free solvent "ethanol 50"; a lot is
"geraniol@10%/ethanol 5g exp=2026-03-01 new held". Materials get ids by name, lines and lots by their place in the list.
"""

import re
from datetime import date
from decimal import Decimal

from batches.calc.strength import FormulaLine
from batches.calc.weigh_request import WeighRequest
from inventory.calc.claims import ShelfLot

DAY = date(2026, 1, 15)
SOLVENTS = ("ethanol", "dipropylene glycol", "triethyl citrate")
_IDS: dict[str, int] = {name: 900 + place for place, name in enumerate(SOLVENTS)}
_STOCK = re.compile(
    r"(?P<name>[^@\d]+?)(?:@(?P<strength>[\d.]+)%)?(?:/(?P<solvent>[a-z ]+?))? (?P<amount>[\d.]+)g?"
)


def material(name):
    """The id of a material; the same name always gets the same id within a test run."""
    return _IDS.setdefault(name, len(_IDS) + 1)


def _read(text):
    found = _STOCK.match(text)
    assert found, text
    strength = Decimal(found["strength"] or "100") / 100
    solvent = found["solvent"]
    return (
        found["name"],
        strength,
        None if solvent is None else material(solvent),
        Decimal(found["amount"]),
        found.end(),
    )


def formula(*texts):
    """Lines keyed 1, 2, 3 … in the order given."""
    lines = []
    for key, text in enumerate(texts, start=1):
        name, strength, solvent, parts, _ = _read(text)
        lines.append(FormulaLine(key, material(name), name, parts, strength, solvent, name in SOLVENTS))
    return tuple(lines)


def shelf(*texts):
    """Lots with ids 101, 102, 103 … and numbers 26-0101, … in the order given; open unless "new"."""
    return tuple(_lot(100 + place, text) for place, text in enumerate(texts, start=1))


def _lot(number, text):
    name, strength, solvent, available, end = _read(text)
    words = text[end:].split()
    expires = next((date.fromisoformat(word[4:]) for word in words if word.startswith("exp=")), None)
    price = next((Decimal(word[5:]) for word in words if word.startswith("cost=")), None)
    solvents = {} if solvent is None else {solvent: 1 - strength}
    if name in SOLVENTS:
        solvents = {material(name): Decimal(1)}
    return ShelfLot(
        id=number,
        number=f"26-{number:04d}",
        material=material(name),
        strength=strength,
        solvents=solvents,
        available=available,
        expires_on=expires,
        opened="new" not in words,
        held="held" in words,
        cost_per_gram=price,
    )


def request(lines, lots, total, **more):
    """A request with the usual settings of these tests: pours from 0.02 g, tolerance 2 %."""
    settings = {"smallest": Decimal("0.02"), "tolerance": Decimal("0.02"), "on": DAY, **more}
    return WeighRequest(lines=lines, lots=lots, total=Decimal(total), **settings)
