"""What a formula contains as it is written, down to the leaf materials: dilutions parted, bases taken apart.

A diluted line is so much of its material and the rest of its solvent. A base is opened by the version it was adopted
with; written in a solvent at less than its own odorant share, it is thinned in that proportion. This is the recipe
read through, not a lot: what a made lot contains is reckoned from what was really weighed.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal, localcontext

from batches.calc.strength import FormulaLine, check_lines, odorant_parts, total_parts
from studio.kernel.mass import nearest_fraction

_DIGITS = 40
ONE = Decimal(1)
Recipes = Mapping[int, Sequence[FormulaLine]]
"""For the material of each base, the lines of the version it was adopted with."""


def contents_as_written(lines: Sequence[FormulaLine], recipes: Recipes) -> dict[int, Decimal]:
    """Mass fraction of every leaf material of the whole, in the order in which they are first met. Raises `BadFormula`.

    Fractions are rounded half-even to nine places each. A base without a recipe, or inside itself, is taken for a leaf.
    """
    check_lines(lines)
    with localcontext(prec=_DIGITS):
        found = _opened(lines, recipes, ())
        return {material: nearest_fraction(share) for material, share in found.items()}


def own_strength(recipe: Sequence[FormulaLine]) -> Decimal:
    """The odorant share of a base by its recipe, to nine places: what it is written at when nothing else is said."""
    with localcontext(prec=_DIGITS):
        return nearest_fraction(odorant_parts(recipe) / total_parts(recipe))


def _opened(lines: Sequence[FormulaLine], recipes: Recipes, inside: tuple[int, ...]) -> dict[int, Decimal]:
    total = total_parts(lines)
    found: dict[int, Decimal] = {}
    for line in lines:
        share = line.parts / total
        recipe = recipes.get(line.material, ()) if line.material not in inside else ()
        taken = share * _undiluted(line, recipe)
        if recipe:
            for material, part in _opened(recipe, recipes, (*inside, line.material)).items():
                found[material] = found.get(material, Decimal(0)) + taken * part
        else:
            found[line.material] = found.get(line.material, Decimal(0)) + taken
        if line.solvent is not None and taken < share:
            found[line.solvent] = found.get(line.solvent, Decimal(0)) + share - taken
    return found


def _undiluted(line: FormulaLine, recipe: Sequence[FormulaLine]) -> Decimal:
    """How much of a line is its material itself: the dilution, for a base in relation to its own odorant share."""
    if line.is_solvent or line.solvent is None:
        return ONE
    if not recipe:
        return line.strength
    own = odorant_parts(recipe) / total_parts(recipe)
    return min(ONE, line.strength / own) if own else ONE
