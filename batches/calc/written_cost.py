"""What a formula would cost as it is written, and what that figure rests on.

Each line takes its cost from the newest lot that is at its dilution in its solvent; where there is none, from the newest
neat lot and the newest lot of the solvent, in the proportion of the dilution. Lots with a price go before lots without,
and the newest is the one whose price is most likely what the next one costs. Taking the lots that a batch would be weighed from was rejected: the formula
would change its price with every bottle that is opened, and a plan tells that cost anyway.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from batches.calc.strength import FormulaLine, check_lines, total_parts
from batches.calc.weigh_request import SAME_DILUTION
from inventory.calc.claims import ShelfLot
from inventory.calc.cost import Cost, CostPart, cost_of
from studio.kernel.mass import nearest_mass

COSTED_MASS = Decimal(100)
"""Grams the cost is told for."""
_DIGITS = 40
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class LineBasis:
    """The lots a line's cost rests on: one at its dilution, or a neat one and one of the solvent. Empty: there is none."""

    key: int
    lots: tuple[ShelfLot, ...]
    from_neat: bool


@dataclass(frozen=True, slots=True)
class WrittenCost:
    """Cost of `COSTED_MASS` grams. `without` are the keys of lines that no lot on the shelf gives a price for."""

    cost: Cost
    bases: tuple[LineBasis, ...]
    without: tuple[int, ...]


def written_cost(lines: Sequence[FormulaLine], shelf: Sequence[ShelfLot]) -> WrittenCost:
    """Cost of 100 g of the formula as written, from what the lots in `shelf` cost. Raises `BadFormula`."""
    check_lines(lines)
    bases = tuple(_basis(line, shelf) for line in lines)
    parts: list[CostPart] = []
    without: list[int] = []
    with localcontext(prec=_DIGITS):
        total = total_parts(lines)
        for line, basis in zip(lines, bases, strict=True):
            mass = COSTED_MASS * line.parts / total
            found = list(_parts(line, basis, mass))
            parts += found
            if any(part.cost_per_gram is None for part in found):
                without.append(line.key)
    return WrittenCost(cost=cost_of(parts), bases=bases, without=tuple(without))


def _basis(line: FormulaLine, shelf: Sequence[ShelfLot]) -> LineBasis:
    """Of lots with a price if that can be, else of lots that are at least there."""
    priced = [lot for lot in shelf if lot.cost_per_gram is not None]
    return _among(line, priced) or _among(line, shelf) or LineBasis(line.key, (), from_neat=False)


def _among(line: FormulaLine, shelf: Sequence[ShelfLot]) -> LineBasis | None:
    own = [lot for lot in shelf if lot.material == line.material]
    same = _newest(lot for lot in own if _is_as_written(lot, line))
    if same is not None:
        return LineBasis(line.key, (same,), from_neat=False)
    neat = _newest(lot for lot in own if lot.strength > ONE - SAME_DILUTION)
    solvent = _newest(lot for lot in shelf if lot.material == line.solvent)
    if neat is not None and solvent is not None:
        return LineBasis(line.key, (neat, solvent), from_neat=True)
    return None


def _is_as_written(lot: ShelfLot, line: FormulaLine) -> bool:
    if line.is_solvent:
        return True
    in_it = line.solvent is None or set(lot.solvents) <= {line.solvent}
    return in_it and abs(lot.strength / line.strength - 1) <= SAME_DILUTION


def _newest(lots: Iterable[ShelfLot]) -> ShelfLot | None:
    return max(lots, key=lambda lot: lot.id, default=None)


def _parts(line: FormulaLine, basis: LineBasis, mass: Decimal) -> Iterable[CostPart]:
    """The line's grams lot by lot; a trace below a microgram costs nothing that could be told."""
    if not basis.lots:
        shares: list[tuple[int, Decimal, Decimal | None]] = [(-line.key - 1, ONE, None)]
    elif basis.from_neat:
        neat, solvent = basis.lots
        shares = [
            (neat.id, line.strength, neat.cost_per_gram),
            (solvent.id, ONE - line.strength, solvent.cost_per_gram),
        ]
    else:
        [lot] = basis.lots
        shares = [(lot.id, ONE, lot.cost_per_gram)]
    for number, share, per_gram in shares:
        grams = nearest_mass(mass * share)
        if grams > 0:
            yield CostPart(number, grams, per_gram)
