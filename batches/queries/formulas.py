"""Formulas as people read them: lists, versions with lines, and how two versions differ."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Max, OuterRef, Prefetch, QuerySet, Subquery

from batches.models import Formula, FormulaLine, FormulaVersion
from studio.models import ScopedQuerySet, Studio


@dataclass(frozen=True, slots=True)
class LineDifference:
    """One material at one dilution, with its parts in two versions; None where a version has no such line."""

    material: int
    name: str
    strength: Decimal
    solvent_name: str | None
    before: Decimal | None
    after: Decimal | None
    change: str


def formulas_of(studio: Studio) -> ScopedQuerySet[Any]:
    """All formulas with their base and the number of their last version; one statement."""
    return (
        Formula.objects.of(studio)
        .select_related("base", "adopted")
        .annotate(last_version=Max("versions__number"))
    )


def versions_of(studio: Studio) -> ScopedQuerySet[FormulaVersion]:
    """Versions with their lines; two statements whatever their number."""
    lines = FormulaLine.objects.select_related("material", "solvent").order_by("position", "id")
    return (
        FormulaVersion.objects.of(studio)
        .select_related("formula", "by__person")
        .prefetch_related(Prefetch("lines", queryset=lines))
    )


def version_of(*, studio: Studio, code: str, number: int) -> FormulaVersion:
    """One version with its lines."""
    numbered = versions_of(studio).filter(number=number)
    version: FormulaVersion = numbered.one(studio, f"version {number} of formula", formula__code=code)
    return version


def last_lines(formulas: QuerySet[Any]) -> ScopedQuerySet[FormulaLine]:
    """The lines of the last version of each of these formulas, with the names a sheet shows; one statement."""
    newest = FormulaVersion.objects.filter(formula=OuterRef("version__formula")).order_by("-number", "-id")
    return FormulaLine.objects.filter(
        version__formula__in=formulas.values("pk"), version=Subquery(newest.values("pk")[:1])
    ).select_related("version__formula", "material", "solvent")


def line_differences(before: Sequence[FormulaLine], after: Sequence[FormulaLine]) -> list[LineDifference]:
    """What changed from one version's lines to another's, in the order of the newer one, dropped lines last.

    Lines are the same line when material, dilution and solvent are; parts of repeated lines are added up.
    """
    old, new = _by_ingredient(before), _by_ingredient(after)
    keys = [*new, *(key for key in old if key not in new)]
    sample = {_key(line): line for line in [*before, *after]}
    return [
        LineDifference(
            material=sample[key].material_id,
            name=sample[key].material.name,
            strength=sample[key].strength,
            solvent_name=_solvent_name(sample[key]),
            before=old.get(key),
            after=new.get(key),
            change=_change(old.get(key), new.get(key)),
        )
        for key in keys
    ]


Ingredient = tuple[int, Decimal, int | None]


def _solvent_name(line: FormulaLine) -> str | None:
    return line.solvent.name if line.solvent else None


def _key(line: FormulaLine) -> Ingredient:
    return line.material_id, line.strength, line.solvent_id


def _by_ingredient(lines: Sequence[FormulaLine]) -> dict[Ingredient, Decimal]:
    parts: dict[Ingredient, Decimal] = {}
    for line in lines:
        parts[_key(line)] = parts.get(_key(line), Decimal(0)) + line.parts
    return parts


def _change(before: Decimal | None, after: Decimal | None) -> str:
    if before is None:
        return "added"
    if after is None:
        return "dropped"
    if before == after:
        return "kept"
    return "more" if after > before else "less"
