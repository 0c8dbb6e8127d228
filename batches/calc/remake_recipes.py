"""How the items of a remake plan are made: dilutions from a stronger lot and solvent, bases from their written lines.

A dilution is made straight from the neat material when that can be weighed well in an amount the studio would keep;
otherwise from a stronger dilution it has anyhow, or from an intermediate ten times as strong. Smallest batch of strength *p* from a
parent of strength *q*: the parent is weighed, *m p*/*q* ≥ *m*min, and the solvent too, *m*(1 − *p*/*q*) ≥ *m*min. The
factor ten and `KEPT_AT_MOST` are common practice, no source.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from decimal import ROUND_CEILING, Decimal, localcontext

from batches.calc.remake_request import Input, ItemKey, Recipe
from batches.calc.strength import BadFormula, FormulaLine, NoOdorant, odorant_parts, total_parts
from studio.kernel.mass import MICROGRAM, nearest_fraction

ONE = Decimal(1)
TENFOLD = Decimal(10)
KEPT_AT_MOST = Decimal(20)
"""Grams of a dilution that is wanted only for itself: nobody makes more of it just to weigh its parent well."""
SAME = Decimal("1.05")
"""Within this factor two strengths are the same dilution, one of them made a little off."""
_DIGITS = 40


def key_of(material: int, strength: Decimal, solvent: int | None, *, has_solvent: bool) -> ItemKey:
    """The item that a lot or a line is; what is neat, a solvent or a base is told apart by no solvent."""
    return ItemKey(material, strength, solvent if has_solvent and strength < 1 else None)


def nearest_item(key: ItemKey, known: Mapping[tuple[int, int | None], Sequence[Decimal]]) -> ItemKey:
    """`key`, or the item of the same material and solvent whose strength is the same but for making it."""
    near = [one for one in known.get((key.material, key.solvent), ()) if _same(one, key.strength)]
    if not near:
        return key
    return ItemKey(key.material, min(near, key=lambda one: (abs(one - key.strength), one)), key.solvent)


def line_inputs(
    lines: Sequence[FormulaLine], strength: Decimal | None, bases: Collection[int]
) -> tuple[Input, ...]:
    """The items and parts that a formula takes at `strength`, as written when None; `bases` are materials of bases.

    Up to the ceiling the lines keep their dilutions; beyond it every dilution is taken neat, which leaves the most
    room. Raises `BadFormula`, `NoOdorant`.
    """
    with localcontext(prec=_DIGITS):
        parts = _parts(lines, strength, bases)
    gathered: dict[ItemKey, Decimal] = {}
    for line, strength_taken, amount in parts:
        if amount > 0:
            key = key_of(
                line.material,
                ONE if line.is_solvent else strength_taken,
                line.solvent,
                has_solvent=line.material not in bases,
            )
            gathered[key] = gathered.get(key, Decimal(0)) + amount
    return tuple(Input(key, amount) for key, amount in gathered.items())


def _parts(
    lines: Sequence[FormulaLine], strength: Decimal | None, bases: Collection[int]
) -> list[tuple[FormulaLine, Decimal, Decimal]]:
    written = [(line, line.strength, line.parts) for line in lines]
    if strength is None:
        return written
    total, odorant = total_parts(lines), odorant_parts(lines)
    if odorant == 0:
        raise NoOdorant("Only solvents: there is no strength to reckon with.")
    factor = strength * total / odorant
    free = [line for line in lines if line.is_solvent]
    for dilutions_kept in (True, False):
        taken = [
            _taken(line, factor, dilutions_kept or line.material in bases)
            for line in lines
            if not line.is_solvent
        ]
        rest = total - sum((amount for _, _, amount in taken), Decimal(0))
        if nearest_fraction(rest / total) >= 0:
            break
    else:
        # Stronger than its bases allow; what it takes of each is still the best that can be said.
        return taken
    if rest > 0 and not free:
        return written
    weight = sum((line.parts for line in free), Decimal(0))
    return [*taken, *((line, ONE, rest * line.parts / weight) for line in free)]


def _taken(line: FormulaLine, factor: Decimal, as_written: bool) -> tuple[FormulaLine, Decimal, Decimal]:
    if as_written:
        return line, line.strength, line.parts * factor
    return line, ONE, line.parts * line.strength * factor


def base_recipe(
    *,
    item: ItemKey,
    lines: Sequence[FormulaLine],
    as_written: Decimal,
    bases: Collection[int],
    smallest_weight: Decimal,
    largest: Decimal | None,
    making_days: int,
    resting_days: int,
) -> Recipe | None:
    """How a base is made at the item's strength; None where its lines cannot make it at all."""
    strength = None if _same(item.strength, as_written) else item.strength
    try:
        inputs = line_inputs(lines, strength, bases)
    except (BadFormula, NoOdorant):
        return None
    least = min(one.parts for one in inputs) / sum((one.parts for one in inputs), Decimal(0))
    return Recipe(
        item=item,
        inputs=inputs,
        making_days=making_days,
        resting_days=resting_days,
        smallest=_capped(smallest_weight / least, largest),
        largest=largest,
    )


def dilution_parents(
    *,
    item: ItemKey,
    known: Iterable[Decimal],
    smallest_weight: Decimal,
    kept: Decimal,
    solubility: Decimal | None,
) -> list[Decimal]:
    """The strengths a dilution is made from, the best way first: neat, the weakest known that weighs well, or the tenfold.

    `kept` is what the studio would keep of it, in grams; `known` are strengths of the material in the same solvent
    that stand on the shelf, are wanted or are sold. A strength beyond its `solubility` is made from nothing.
    """
    if solubility is not None and item.strength > solubility:
        return []
    stronger = sorted({one for one in known if one > item.strength * SAME and one < 1})
    if _smallest(item.strength, ONE, smallest_weight) <= kept:
        return [ONE, *reversed(stronger)]
    well = [one for one in stronger if _smallest(item.strength, one, smallest_weight) <= kept]
    through = well[0] if well else _intermediate(item.strength, solubility)
    others = [one for one in reversed(stronger) if one != through]
    return [*([] if through is None else [through]), *others, ONE]


def _intermediate(strength: Decimal, solubility: Decimal | None) -> Decimal | None:
    """The tenfold, or as much of it as dissolves; None where that is no step worth making."""
    tenfold = strength * TENFOLD
    through = tenfold if solubility is None else min(tenfold, solubility)
    return nearest_fraction(through) if strength * SAME < through < 1 else None


def dilution_recipe(
    *,
    item: ItemKey,
    parent: Decimal,
    smallest_weight: Decimal,
    largest: Decimal | None,
    making_days: int,
    resting_days: int,
) -> Recipe:
    """One part of a dilution from its parent at strength *q* and the solvent: *p*/*q* and 1 − *p*/*q*."""
    assert item.solvent is not None
    source = ItemKey(item.material, parent, None if parent == 1 else item.solvent)
    with localcontext(prec=_DIGITS):
        share = item.strength / parent
        parts = (Input(source, share), Input(ItemKey(item.solvent), ONE - share))
    return Recipe(
        item=item,
        inputs=parts,
        making_days=making_days,
        resting_days=resting_days,
        smallest=_capped(_smallest(item.strength, parent, smallest_weight), largest),
        largest=largest,
    )


def _smallest(strength: Decimal, parent: Decimal, weight: Decimal) -> Decimal:
    share = strength / parent
    return max(weight / share, weight / (ONE - share))


def _capped(smallest: Decimal, largest: Decimal | None) -> Decimal:
    """On the microgram, upwards, and never more than the container takes: it must be made in any case."""
    least = smallest.quantize(MICROGRAM, rounding=ROUND_CEILING)
    return least if largest is None else min(least, largest)


def _same(one: Decimal, other: Decimal) -> bool:
    return one < other * SAME and other < one * SAME
