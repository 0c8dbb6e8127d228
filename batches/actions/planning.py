"""Drafting batches and planning what to weigh: the weigh plan is made from the shelf as it is now and kept as lines."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from batches.actions.formulas import fix_version
from batches.calc.strength import FormulaLine, restated
from batches.models import Batch, BatchKind, BatchLine, FormulaVersion
from batches.models.shelf_lots import shelf_lots
from batches.models.written import written_lines
from inventory.calc.claims import split_across
from inventory.models import Material
from studio.actions.running import next_number
from studio.kernel.mass import ZERO_MASS
from studio.kernel.work import work
from studio.models import Member


def draft_formula_batch(
    *,
    by: Member,
    now: datetime,
    version: FormulaVersion,
    mass: Decimal,
    strength: Decimal | None = None,
    **details: Any,
) -> Batch:
    details.pop("solvent_bounds", None)
    with work():
        fix_version(version=version, now=now)
        batch = _new(by, now, version=version, mass=mass, strength=strength, details=details)
        _plan(batch, written_lines(version), now.date())
    return batch


def draft_stock_batch(
    *,
    by: Member,
    now: datetime,
    material: Material,
    strength: Decimal,
    solvent: Material,
    mass: Decimal,
    **details: Any,
) -> Batch:
    with work():
        batch = _new(
            by, now, material=material, solvent=solvent, mass=mass, strength=strength, details=details
        )
        lines = [
            FormulaLine(-1, material.id, material.name, strength, Decimal(1), None, is_solvent=False),
            FormulaLine(-2, solvent.id, solvent.name, 1 - strength, Decimal(1), None, is_solvent=True),
        ]
        _plan(batch, lines, now.date())
    return batch


def _new(by, now, *, details, version=None, material=None, solvent=None, mass, strength):
    number = next_number(studio=by.studio, sort="batch", year=now.year)
    kind = BatchKind.STOCK
    title = f"{material} {strength}" if material else version.formula.name
    if version is not None:
        kind = BatchKind.BASE if version.formula.adopted_id == version.id else BatchKind.BLEND
        material = version.formula.base if kind == BatchKind.BASE else None
    details.setdefault("title", title)
    details.setdefault("tolerance", by.studio.weighing_tolerance)
    return Batch.objects.create(
        studio_id=by.studio_id,
        number=number,
        kind=kind,
        version=version,
        material=material,
        solvent=solvent,
        mass=mass,
        strength=strength,
        by=by,
        created_at=now,
        **details,
    )


def _plan(batch: Batch, lines: Sequence[FormulaLine], on: date) -> None:
    shelf = shelf_lots(
        studio_id=batch.studio_id, materials={line.material for line in lines}, purpose=batch.number
    )
    wanted = restated(lines, mass=batch.mass, strength=batch.strength)
    position = 0
    rows = []
    for line, one in zip(lines, wanted, strict=True):
        lots = [
            lot
            for lot in shelf
            if lot.material == line.material
            and (line.key < 0 or abs(lot.strength / line.strength - 1) < Decimal("0.05"))
        ]
        split = split_across(one.mass * line.strength, lots, on=on, smallest=ZERO_MASS)
        for take in split.takes:
            position += 1
            rows.append(
                BatchLine(
                    studio_id=batch.studio_id,
                    batch=batch,
                    position=position,
                    formula_line_id=line.key if line.key > 0 else None,
                    material_id=line.material,
                    lot_id=take.lot,
                    planned=take.mass,
                    target=take.mass,
                )
            )
    BatchLine.objects.bulk_create(rows)
