"""What a formula version says, as the arithmetic takes it. Shared by what plans and what shows."""

from collections.abc import Iterable
from decimal import Decimal

from batches.calc.strength import FormulaLine as CalcLine
from batches.calc.strength import strength_as_written
from batches.models.formulas import FormulaLine, FormulaVersion
from batches.models.making import Batch
from inventory.models import MaterialKind
from studio.kernel.mass import nearest_fraction


def written_lines(version: FormulaVersion) -> list[CalcLine]:
    """The lines of a version in their order, keyed by their positions. One statement."""
    rows = version.lines.select_related("material").order_by("position", "id")
    return as_calc_lines(rows)


def as_calc_lines(rows: Iterable[FormulaLine]) -> list[CalcLine]:
    return [
        CalcLine(
            key=row.position,
            material=row.material_id,
            name=row.material.name,
            parts=row.parts,
            strength=row.strength,
            solvent=row.solvent_id,
            is_solvent=row.material.kind == MaterialKind.SOLVENT,
        )
        for row in rows
    ]


def declared_strength(batch: Batch) -> Decimal | None:
    """What the made lot is declared at: the wanted strength, or the formula's as written; 0 is no strength."""
    if batch.strength is not None:
        return batch.strength
    if batch.version is None:
        return None
    return nearest_fraction(strength_as_written(written_lines(batch.version)))
