"""What can be said of a version's strength before anything is planned: as written, its ceiling, restated, and what a
stronger stock from the shelf would free. Also the routes to a stock, and grids laid out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from batches.calc.dilution import ParentLot
from batches.calc.dilution_routes import Route, propose_route
from batches.calc.strength import (
    AboveCeiling,
    FormulaLine,
    LineShare,
    RestatedLine,
    Swap,
    holding_down,
    restated,
    strength_report,
    swap,
)
from batches.models import FormulaVersion
from batches.models.shelf_lots import shelf_lots
from batches.models.written import written_lines
from inventory.calc.claims import ShelfLot, in_claim_order
from inventory.models import Balance, Material, Solubility
from inventory.models.places import traits_of
from studio.models import Studio

STRONGER = Decimal("1.05")
"""A lot counts as a stronger stock from this factor on: below it, it is the same dilution made a little off."""


@dataclass(frozen=True, slots=True)
class LineStrength:
    """A line with its shares, and grams of it in the restated batch."""

    line: FormulaLine
    share: LineShare
    mass: Decimal | None


@dataclass(frozen=True, slots=True)
class SolventShare:
    """How much of one solvent is in the whole as written, free and carried together."""

    material: int
    name: str
    fraction: Decimal


@dataclass(frozen=True, slots=True)
class VersionStrength:
    """Strength and ceiling as written, line by line, and the swaps that the shelf offers, most freed first.

    `beyond` says why the restated masses are missing, where the wanted strength is above the ceiling.
    """

    strength: Decimal
    ceiling: Decimal
    lines: list[LineStrength]
    solvents: list[SolventShare]
    holding_down: list[LineStrength]
    swaps: list[Swap]
    beyond: str


def version_strength(
    *,
    version: FormulaVersion,
    on: date,
    mass: Decimal | None = None,
    strength: Decimal | None = None,
) -> VersionStrength:
    """The strength of a version, restated to `mass` and `strength` where they are given. Six statements."""
    lines = written_lines(version)
    shelf = shelf_lots(studio_id=version.studio_id, materials={line.material for line in lines})
    return strength_of_lines(lines=lines, shelf=shelf, on=on, mass=mass, strength=strength)


def strength_of_lines(
    *,
    lines: Sequence[FormulaLine],
    shelf: Sequence[ShelfLot],
    on: date,
    mass: Decimal | None = None,
    strength: Decimal | None = None,
) -> VersionStrength:
    """The same of lines that need not be kept anywhere, beside the shelf's lots of their materials. One statement."""
    report = strength_report(lines)
    grams, beyond = _restated(lines, mass, strength)
    shares = {share.key: share for share in report.lines}
    shown = {line.key: LineStrength(line, shares[line.key], grams.get(line.key)) for line in lines}
    names = dict(Material.objects.filter(id__in=report.solvents).values_list("id", "name"))
    return VersionStrength(
        strength=report.strength,
        ceiling=report.ceiling,
        lines=list(shown.values()),
        solvents=[
            SolventShare(solvent, names[solvent], fraction) for solvent, fraction in report.solvents.items()
        ],
        holding_down=[shown[share.key] for share in holding_down(lines)],
        swaps=_swaps(lines, shelf, on),
        beyond=beyond,
    )


def _restated(
    lines: Sequence[FormulaLine], mass: Decimal | None, strength: Decimal | None
) -> tuple[Mapping[int, Decimal], str]:
    if mass is None:
        return {}, ""
    try:
        found: Sequence[RestatedLine] = restated(lines, mass=mass, strength=strength)
    except AboveCeiling as refusal:
        return {}, refusal.message
    return {line.key: line.mass for line in found}, ""


def _swaps(lines: Sequence[FormulaLine], shelf: Sequence[ShelfLot], on: date) -> list[Swap]:
    """For every diluted line, the swap to each stronger strength that stands on the shelf."""
    swaps = []
    for line in lines:
        if line.is_solvent or line.strength == 1:
            continue
        usable = in_claim_order([lot for lot in shelf if lot.material == line.material], on)
        for strength in sorted({lot.strength for lot in usable}):
            if strength > line.strength * STRONGER:
                swaps.append(swap(lines, key=line.key, strength=strength))
    return sorted(swaps, key=lambda one: (-one.freed, one.key))


def stock_route(
    *,
    studio: Studio,
    on: date,
    material: Material,
    solvent: Material,
    strength: Decimal,
    mass: Decimal,
    balance: Balance,
) -> Route:
    """The best way to a stock from the lots on the shelf, through intermediates where a weight would be too small.

    Parents are neat lots, or lots in that solvent alone. Raises what `propose_route` refuses. Five statements.
    """
    shelf = in_claim_order(shelf_lots(studio_id=studio.id, materials={material.id}), on)
    limit = Solubility.objects.filter(material=material, solvent=solvent).first()
    return propose_route(
        strength=strength,
        size=mass,
        parents=[
            ParentLot(lot=lot.number, strength=lot.strength, available=lot.available)
            for lot in shelf
            if set(lot.solvents) <= {solvent.id}
        ],
        traits=traits_of(balance),
        weighing_tolerance=studio.weighing_tolerance,
        strength_tolerance=studio.strength_tolerance,
        solubility=None if limit is None else limit.limit,
    )
