"""The record of a closed batch: everything that was planned, weighed, struck and made, as plain values to be sealed.

Masses and strengths stand in it as strings with all their places, times as RFC 3339, so that the canonical text is the
same on every engine and after every upgrade. Struck weighings stay in it, with who struck them and why, and so does what was
refused at the bench; neither counts in any mass.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from batches.actions.made_lots import Filled, Made
from batches.models import Batch, BatchKind, BatchLine, GridCell, RefusedReading, Weighing
from inventory.models import Lot, Material

RECORD_FORM = "batch record 2"
"""The form that every record says; since 2 it tells how lots were told and what was refused at the bench."""


def batch_record(*, batch: Batch, made: Sequence[tuple[Made, Lot]], filled: Filled) -> dict[str, Any]:
    """The batch as it stands at closing, with the lot it made, or the vials of a grid."""
    weighings: dict[int, list[dict[str, Any]]] = {}
    rows = batch.weighings.select_related(
        "lot", "balance", "balance_check", "by__person", "struck_by__person"
    )
    for weighing in rows.order_by("id"):
        weighings.setdefault(weighing.line_id, []).append(_weighing(weighing))
    lines = batch.lines.select_related("material", "lot", "cell").order_by("position", "id")
    of_grid = batch.kind == BatchKind.GRID
    return {
        "form": RECORD_FORM,
        "batch": batch.number,
        "kind": batch.kind,
        "title": batch.title,
        "formula": batch.version.formula.code if batch.version else None,
        "version": batch.version.number if batch.version else None,
        "mass_wanted": str(batch.mass),
        "strength_wanted": _text(batch.strength),
        "tolerance": str(batch.tolerance),
        "drafted_by": batch.by.person.name,
        "drafted_at": _time(batch.created_at),
        "reserved_at": _time(batch.reserved_at),
        "closed_at": _time(batch.ended_at),
        "lines": [_line(line, weighings.get(line.id, [])) for line in lines],
        "refused": [
            _refused(one) for one in batch.refused_readings.select_related("by__person").order_by("id")
        ],
        "left_out_because": filled.left_out_reason,
        "strength_decision": filled.strength_decision,
        "strength_reason": filled.strength_reason,
        "made": None if of_grid else _made(*made[0], _names(made)),
        **({"vials": _vials(batch, made)} if of_grid else {}),
        "planned_cost": _text(batch.planned_cost),
        "actual_cost": _text(batch.actual_cost),
        "currency": batch.studio.currency,
    }


def _line(line: BatchLine, weighings: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "position": line.position,
        "material": line.name,
        "lot": line.lot.number,
        "lot_strength": _text(line.lot.actual_strength),
        "supplier": line.lot.supplier,
        "supplier_lot": line.lot.supplier_lot,
        "planned": str(line.planned),
        "target": str(line.target),
        "expired_reason": line.expired_reason,
        "weighings": weighings,
        **({"vial": line.cell.number, "attempt": line.cell.attempt} if line.cell else {}),
    }


def _vials(batch: Batch, made: Sequence[tuple[Made, Lot]]) -> list[dict[str, Any]]:
    """Every attempt at every vial: what it was to be, and what it became or why it was left out."""
    names = _names(made)
    became = {one.vessel.cell.id: (one, lot) for one, lot in made if one.vessel.cell}
    cells = batch.cells.select_related("lot_a", "lot_b", "left_out_by__person").order_by(
        "number", "attempt", "id"
    )
    return [
        {
            "vial": cell.number,
            "attempt": cell.attempt,
            "side_a": cell.lot_a.number if cell.lot_a else None,
            "side_b": cell.lot_b.number if cell.lot_b else None,
            "ratio": cell.ratio or None,
            "mass_wanted": str(cell.mass),
            "left_out_at": _time(cell.left_out_at),
            "left_out_by": _name_of_leaver(cell),
            "left_out_because": cell.left_out_why,
            "made": _made(*became[cell.id], names) if cell.id in became else None,
        }
        for cell in cells
    ]


def _name_of_leaver(cell: GridCell) -> str | None:
    return cell.left_out_by.person.name if cell.left_out_by else None


def _weighing(weighing: Weighing) -> dict[str, Any]:
    check = weighing.balance_check
    return {
        "lot": weighing.lot.number,
        "mass": str(weighing.mass),
        "standard_uncertainty": _text(weighing.mass_u),
        "source": weighing.source,
        "reading": weighing.reading,
        "expired_reason": weighing.expired_reason,
        "lot_told": weighing.lot_told,
        "balance": weighing.balance.name if weighing.balance else None,
        "balance_last_passed_check": _time(check.at) if check else None,
        "by": weighing.by.person.name,
        "at": _time(weighing.at),
        "recorded_at": _time(weighing.recorded_at),
        "struck_at": _time(weighing.struck_at),
        "struck_by": weighing.struck_by.person.name if weighing.struck_by else None,
        "struck_because": weighing.strike_reason,
    }


def _refused(one: RefusedReading) -> dict[str, Any]:
    return {
        "position": one.position,
        "kind": one.kind,
        "told": one.told,
        "because": one.why,
        "by": one.by.person.name,
        "at": _time(one.at),
        "recorded_at": _time(one.recorded_at),
    }


def _names(made: Sequence[tuple[Made, Lot]]) -> dict[int, str]:
    inside = {material for one, _ in made for material in one.shares}
    return dict(Material.objects.filter(id__in=inside).values_list("id", "name"))


def _made(made: Made, lot: Lot, names: Mapping[int, str]) -> dict[str, Any]:
    contents = [
        {
            "material": names[material],
            "fraction": str(share.fraction),
            "standard_uncertainty": _text(share.uncertainty),
        }
        for material, share in made.shares.items()
    ]
    return {
        "lot": lot.number,
        "kind": lot.kind,
        "title": lot.title,
        "mass": str(lot.made_mass),
        "declared_strength": _text(lot.declared_strength),
        "actual_strength": _text(lot.actual_strength),
        "strength_standard_uncertainty": _text(lot.strength_u),
        "expires_on": lot.expires_on.isoformat() if lot.expires_on else None,
        "contents": sorted(contents, key=lambda part: str(part["material"])),
    }


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def _time(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat().replace("+00:00", "Z")
