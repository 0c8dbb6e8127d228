"""Writing a formula from what a lot actually contains, so that a vial that pleased can be made and changed on purpose."""

from datetime import datetime

from batches.actions.formulas import WrittenLine, write_formula, write_next_version
from batches.models import Formula, FormulaVersion
from inventory.models import Lot, LotContent, MaterialKind
from studio.kernel.work import work
from studio.models import Member

PARTS = 1000
"""Fractions have nine places and parts six, so nothing is rounded."""


def write_contents_as_formula(
    *, by: Member, now: datetime, lot: Lot, code: str, name: str = "", note: str = ""
) -> FormulaVersion:
    """The contents of a lot as a formula of a thousand parts, odorants first and the most first, all of them neat.

    A code that is known gets its next version, another starts a formula, called by `name` or the lot's title. Raises
    what writing formulas refuses.
    """
    said = note or f"By the contents of lot {lot.number}, {lot.title}."
    with work():
        lines = _lines(lot)
        known = Formula.objects.of(by.studio).filter(code=code).first()
        if known is not None:
            return write_next_version(by=by, now=now, formula=known, lines=lines, note=said)
        return write_formula(by=by, now=now, code=code, name=name or lot.title[:120], lines=lines, note=said)


def _lines(lot: Lot) -> list[WrittenLine]:
    rows = LotContent.objects.filter(lot=lot, revision=lot.contents_revision, fraction__gt=0)
    contents = sorted(
        rows.select_related("material").order_by("id"),
        key=lambda one: (one.material.kind == MaterialKind.SOLVENT, -one.fraction, one.material_id),
    )
    return [WrittenLine(material=one.material, parts=one.fraction * PARTS) for one in contents]
