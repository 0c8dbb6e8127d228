"""Everything that can be reckoned of formula lines as they are written, kept or still being typed: strength and ceiling
with what the shelf would free, cost with what it rests on, and the cautions of the written contents.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F

from batches.calc.strength import FormulaLine, NoOdorant
from batches.calc.written_contents import contents_as_written
from batches.calc.written_cost import COSTED_MASS, WrittenCost, written_cost
from batches.models import FormulaLine as LineRow
from batches.models.shelf_lots import shelf_lots
from batches.models.written import as_calc_lines
from batches.queries.strengths import VersionStrength, strength_of_lines
from inventory.calc.cautions import CautionReport, cautions_of
from inventory.calc.claims import ShelfLot, in_claim_order
from inventory.calc.hazardous_parts import HazardousPart
from inventory.calc.wording import figure, listed, percent
from inventory.models import Material
from studio.models import Studio

Recipes = Mapping[int, Sequence[FormulaLine]]


@dataclass(frozen=True, slots=True)
class OnShelf:
    """One strength at which a material stands on the shelf free to use, and grams of it available."""

    strength: Decimal
    available: Decimal


@dataclass(frozen=True, slots=True)
class WrittenFigures:
    """`strength` is None, and `no_strength` says why, for solvents alone. `on_shelf` goes by material.

    `cost_rests_on` says line by line, by the line's key, which lots its cost was taken from.
    """

    strength: VersionStrength | None
    no_strength: str
    cost: WrittenCost
    cost_rests_on: Mapping[int, str]
    cautions: CautionReport
    on_shelf: Mapping[int, Sequence[OnShelf]]


def base_recipes(studio: Studio) -> dict[int, list[FormulaLine]]:
    """For the material of each base of the studio, the lines of the version it was adopted with. One statement."""
    rows = (
        LineRow.objects.of(studio)
        .filter(version__formula__adopted_id=F("version_id"))
        .select_related("material")
        .annotate(base=F("version__formula__base_id"))
        .order_by("version_id", "position", "id")
    )
    gathered: dict[int, list[LineRow]] = {}
    for row in rows:
        gathered.setdefault(row.base, []).append(row)
    return {base: as_calc_lines(lines) for base, lines in gathered.items()}


def written_figures(
    *, studio: Studio, lines: Sequence[FormulaLine], recipes: Recipes, on: date
) -> WrittenFigures:
    """Reckon lines as they are written; `recipes` are those of `base_recipes`. Five statements, four without odorant.

    Raises `BadFormula`.
    """
    asked = {line.material for line in lines} | {line.solvent for line in lines if line.solvent}
    shelf = shelf_lots(studio_id=studio.id, materials=asked)
    strength, no_strength = _strength(lines, shelf, on)
    cost = written_cost(lines, shelf)
    return WrittenFigures(
        strength=strength,
        no_strength=no_strength,
        cost=cost,
        cost_rests_on=_rests_on(lines, cost),
        cautions=_cautions(contents_as_written(lines, recipes)),
        on_shelf=_on_shelf(shelf, on),
    )


def _strength(
    lines: Sequence[FormulaLine], shelf: Sequence[ShelfLot], on: date
) -> tuple[VersionStrength | None, str]:
    try:
        return strength_of_lines(lines=lines, shelf=shelf, on=on), ""
    except NoOdorant as refusal:
        return None, refusal.message


def _cautions(contents: Mapping[int, Decimal]) -> CautionReport:
    cards = Material.objects.in_bulk(contents)
    return cautions_of(
        [
            HazardousPart(
                material=cards[material].name,
                fraction=fraction,
                hazard_codes=tuple(cards[material].hazards),
                flash_point_c=cards[material].flash_point_c,
            )
            for material, fraction in contents.items()
        ]
    )


def _on_shelf(shelf: Sequence[ShelfLot], on: date) -> dict[int, list[OnShelf]]:
    """What is free to use of each material, added up per strength as labels have it, the strongest first."""
    sums: dict[int, dict[Decimal, Decimal]] = {}
    for lot in in_claim_order(shelf, on):
        of_material = sums.setdefault(lot.material, {})
        label = _as_labelled(lot.strength)
        of_material[label] = of_material.get(label, Decimal(0)) + lot.available
    return {
        material: [
            OnShelf(strength, available) for strength, available in sorted(found.items(), reverse=True)
        ]
        for material, found in sums.items()
    }


def _as_labelled(strength: Decimal) -> Decimal:
    """Two significant digits: how a strength is spoken of, so that one dilution made twice is one entry."""
    return Decimal(f"{strength:.1e}")


def _rests_on(lines: Sequence[FormulaLine], cost: WrittenCost) -> dict[int, str]:
    told = {}
    for line, basis in zip(lines, cost.bases, strict=True):
        lots = [f"{_described(line, lot)} lot {lot.number}" for lot in basis.lots]
        if not lots:
            told[line.key] = f"{line.name}: no lot on the shelf tells a price"
            continue
        dear = [lot.number for lot in basis.lots if lot.cost_per_gram is None]
        missing = f"; the price of {listed(dear)} is not known" if dear else ""
        told[line.key] = f"{line.name}: {listed(lots)}{missing}"
    return told


def _described(line: FormulaLine, lot: ShelfLot) -> str:
    if lot.material != line.material:
        return "the solvent’s"
    return "neat" if lot.strength > Decimal("0.95") else percent(lot.strength, 3)


def told_mass() -> str:
    """The mass that costs are told for, in words."""
    return f"{figure(COSTED_MASS)} g"
