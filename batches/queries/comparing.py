"""Two versions of a formula side by side: what changed line by line, and what that does to shares and strength."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.strength import NoOdorant, Strength, strength_report
from batches.models import FormulaLine, FormulaVersion
from batches.models.written import as_calc_lines
from batches.queries.formulas import LineDifference, line_differences
from inventory.models import MaterialKind
from studio.kernel.mass import nearest_fraction


@dataclass(frozen=True, slots=True)
class Compared:
    """A line's difference, with its share of all odorant in both versions; None where it has none, as a solvent."""

    difference: LineDifference
    share_before: Decimal | None
    share_after: Decimal | None


@dataclass(frozen=True, slots=True)
class Side:
    """One version with its strength and ceiling as written; None for solvents alone."""

    version: FormulaVersion
    strength: Decimal | None
    ceiling: Decimal | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Both sides, and the lines in the order of the newer one; before a first version there is nothing."""

    before: Side | None
    after: Side
    lines: list[Compared]


Ingredient = tuple[int, Decimal, str | None]


def compare_versions(before: FormulaVersion | None, after: FormulaVersion) -> Comparison:
    """Compare two versions that come with their lines; no statement. Without one before, all lines are added."""
    old, new = list(before.lines.all()) if before else [], list(after.lines.all())
    reports = {"before": _report(old), "after": _report(new)}
    shares_before, shares_after = _shares(old, reports["before"]), _shares(new, reports["after"])
    compared = [
        Compared(
            difference=one,
            share_before=shares_before.get(_key(one)),
            share_after=shares_after.get(_key(one)),
        )
        for one in line_differences(old, new)
    ]
    older = None if before is None else _side(before, reports["before"])
    return Comparison(older, _side(after, reports["after"]), compared)


def _report(lines: Sequence[FormulaLine]) -> Strength | None:
    if not lines:
        return None
    try:
        return strength_report(as_calc_lines(lines))
    except NoOdorant:
        return None


def _side(version: FormulaVersion, report: Strength | None) -> Side:
    if report is None:
        return Side(version, None, None)
    return Side(version, nearest_fraction(report.strength), nearest_fraction(report.ceiling))


def _key(one: LineDifference) -> Ingredient:
    return one.material, one.strength, one.solvent_name


def _shares(lines: Sequence[FormulaLine], report: Strength | None) -> dict[Ingredient, Decimal]:
    if report is None:
        return {}
    by_line = {share.key: share.odorant_share for share in report.lines}
    shares: dict[Ingredient, Decimal] = {}
    for line in lines:
        if line.material.kind == MaterialKind.SOLVENT:
            continue
        key = (line.material_id, line.strength, line.solvent.name if line.solvent else None)
        shares[key] = shares.get(key, Decimal(0)) + by_line[line.position]
    return {key: nearest_fraction(share) for key, share in shares.items()}
