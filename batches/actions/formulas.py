"""Writing formulas: versions and their lines, cycles refused, and adopting a version as a base.

A version is fixed when a batch of it is first planned; writing to it after that starts the next version.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import F, Max

from batches.models import Formula, FormulaLine, FormulaVersion
from inventory.models import Material, MaterialKind
from studio.actions.changing import change_fields, refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults, Invalid
from studio.kernel.work import work
from studio.models import Member

ONE = Decimal(1)
MOST_LINES = 500


class FormulaCodeTaken(Conflict):
    """Another formula of the studio has this code."""

    code = "formula-code-taken"
    title = "The code is taken"


class FormulaCycle(Invalid):
    """A base would contain itself, directly or through other bases; `path` says how."""

    code = "formula-cycle"
    title = "A base cannot contain itself"


class AlreadyAdopted(Conflict):
    """A formula is adopted once; its base keeps the version it was adopted with."""

    code = "already-adopted"
    title = "Already a base"


class NothingToAdopt(Invalid):
    """A base needs an odorant: its strength would be zero."""

    code = "nothing-to-adopt"
    title = "No odorant in it"


@dataclass(frozen=True, slots=True)
class WrittenLine:
    """A line as a perfumer writes it; `strength` 1 is neat, and then there is no solvent."""

    material: Material
    parts: Decimal
    strength: Decimal = ONE
    solvent: Material | None = None


def write_formula(
    *,
    by: Member,
    now: datetime,
    code: str,
    name: str,
    lines: Sequence[WrittenLine],
    note: str = "",
) -> FormulaVersion:
    """Start a formula with its first version. Raises `FormulaCodeTaken`, `Invalid` with every fault."""
    _check_lines(lines)
    with work():
        if Formula.objects.of(by.studio_id).filter(code=code).exists():
            raise FormulaCodeTaken(f"There is already a formula “{code}”.")
        formula = Formula.objects.create(
            studio_id=by.studio_id, code=code, name=name, note=note, created_at=now
        )
        version = _add_version(by, now, formula, number=1, lines=lines, note="")
        record(by=by, at=now, subject="formula", name=code, verb="written", changes={"version": [None, 1]})
    return version


@dataclass(frozen=True, slots=True)
class WrittenFormula:
    """A formula as a sheet gives it: a new code starts a formula, a known one its next version."""

    code: str
    name: str
    lines: Sequence[WrittenLine]


def import_formulas(
    *, by: Member, now: datetime, formulas: Sequence[WrittenFormula]
) -> list[tuple[FormulaVersion, bool]]:
    """Write several formulas, all or none; returns the version of each that holds its lines, and whether it is new.

    A formula whose last version already says the same is left as it is. Raises as writing them one by one would.
    """
    versions = []
    with work():
        known = {
            formula.code: formula
            for formula in Formula.objects.of(by.studio_id).filter(code__in=[f.code for f in formulas])
        }
        for told in formulas:
            last = _last_version(known.get(told.code))
            if last is not None and _says(last, told.lines):
                versions.append((last, False))
            elif last is not None:
                version = write_next_version(by=by, now=now, formula=last.formula, lines=told.lines)
                versions.append((version, True))
            else:
                version = write_formula(by=by, now=now, code=told.code, name=told.name, lines=told.lines)
                versions.append((version, True))
    return versions


def _last_version(formula: Formula | None) -> FormulaVersion | None:
    if formula is None:
        return None
    return formula.versions.select_related("formula").order_by("-number", "-id").first()


def _says(version: FormulaVersion, lines: Sequence[WrittenLine]) -> bool:
    """Whether the lines of a version are these, in this order."""
    rows = version.lines.order_by("position", "id")
    return [(row.material_id, row.parts, row.strength, row.solvent_id) for row in rows] == [
        (line.material.id, line.parts, line.strength, line.solvent.id if line.solvent else None)
        for line in lines
    ]


def write_next_version(
    *, by: Member, now: datetime, formula: Formula, lines: Sequence[WrittenLine], note: str = ""
) -> FormulaVersion:
    """Add the next version of a formula. Raises `Invalid`, `FormulaCycle`."""
    _check_lines(lines)
    with work():
        locked = Formula.objects.select_for_update(no_key=True, of=("self",)).get(pk=formula.pk)
        _refuse_cycle(locked, lines)
        last = locked.versions.aggregate(last=Max("number"))["last"] or 0
        version = _add_version(by, now, locked, number=last + 1, lines=lines, note=note)
        record(
            by=by,
            at=now,
            subject="formula",
            name=locked.code,
            verb="next version",
            changes={"version": [last, last + 1]},
        )
    return version


def rewrite_version(
    *,
    by: Member,
    now: datetime,
    version: FormulaVersion,
    lines: Sequence[WrittenLine],
    note: str | None = None,
    expected: int | None = None,
) -> FormulaVersion:
    """Replace the lines of a version that is still free; a fixed one is left alone and the next is started.

    Raises `Invalid`, `FormulaCycle`, `StaleEdition`. The version returned is the one that holds the lines.
    """
    _check_lines(lines)
    with work():
        locked = (
            FormulaVersion.objects.select_for_update(no_key=True, of=("self",))
            .select_related("formula")
            .get(pk=version.pk)
        )
        refuse_stale(locked, expected, f"Version {locked.number}")
        if locked.fixed_at is not None:
            return write_next_version(
                by=by, now=now, formula=locked.formula, lines=lines, note=note or locked.note
            )
        _refuse_cycle(locked.formula, lines)
        locked.lines.all().delete()
        _write_lines(locked, lines)
        locked.edition += 1
        locked.note = locked.note if note is None else note
        locked.save(update_fields=["edition", "note"])
        record(
            by=by,
            at=now,
            subject="formula",
            name=locked.formula.code,
            verb="rewritten",
            changes={"version": [locked.number, locked.number]},
        )
    return locked


def change_formula(
    *, by: Member, now: datetime, formula: Formula, changes: Mapping[str, Any], expected: int | None
) -> Formula:
    """Change a formula's name or note."""
    return change_fields(
        by=by,
        at=now,
        row=formula,
        subject="formula",
        name=formula.code,
        changes=changes,
        expected=expected,
    )


def fix_version(*, version: FormulaVersion, now: datetime) -> None:
    """From now on the version never changes, because a batch says it was made by it."""
    FormulaVersion.objects.filter(pk=version.pk, fixed_at__isnull=True).update(fixed_at=now)


def adopt_as_base(*, by: Member, now: datetime, version: FormulaVersion, name: str = "") -> Material:
    """Give a version a material of its own, so that other formulas may use it; the version is fixed.

    Raises `AlreadyAdopted`, `NothingToAdopt`, `Invalid` when the name is taken.
    """
    with work():
        formula = (
            Formula.objects.select_for_update(no_key=True, of=("self",))
            .select_related("adopted")
            .get(pk=version.formula_id)
        )
        if formula.adopted is not None:
            raise AlreadyAdopted(
                f"{formula.name} is already a base, by version {formula.adopted.number}. "
                "Start a new formula to adopt another version."
            )
        fix_version(version=version, now=now)
        kinds = version.lines.values_list("material__kind", flat=True)
        if all(kind == MaterialKind.SOLVENT for kind in kinds):
            raise NothingToAdopt(f"{formula.name} has only solvents in it, so a base of it has no strength.")
        called = name or formula.name
        if Material.objects.of(by.studio_id).filter(name__iexact=called).exists():
            sentence = f"There is already a material “{called}”; give the base another name."
            raise Invalid(sentence, errors={"name": [sentence]})
        formula.base = Material.objects.create(
            studio_id=by.studio_id, name=called, kind=MaterialKind.BASE, created_at=now
        )
        formula.adopted = version
        formula.edition += 1
        formula.save(update_fields=["base", "adopted", "edition"])
        record(
            by=by,
            at=now,
            subject="formula",
            name=formula.code,
            verb="adopted",
            changes={"version": [None, version.number], "base": [None, called]},
        )
    return formula.base


def _add_version(
    by: Member,
    now: datetime,
    formula: Formula,
    *,
    number: int,
    lines: Sequence[WrittenLine],
    note: str,
) -> FormulaVersion:
    version = FormulaVersion.objects.create(
        studio_id=by.studio_id, formula=formula, number=number, note=note, by=by, created_at=now
    )
    _write_lines(version, lines)
    return version


def _write_lines(version: FormulaVersion, lines: Sequence[WrittenLine]) -> None:
    FormulaLine.objects.bulk_create(
        FormulaLine(
            studio_id=version.studio_id,
            version=version,
            position=position,
            material=line.material,
            strength=line.strength,
            solvent=line.solvent,
            parts=line.parts,
        )
        for position, line in enumerate(lines, start=1)
    )


def _check_lines(lines: Sequence[WrittenLine]) -> None:
    faults = Faults()
    if not lines:
        faults.add("lines", "A formula needs at least one line.")
    if len(lines) > MOST_LINES:
        faults.add("lines", f"A formula has at most {MOST_LINES} lines; this one has {len(lines)}.")
    for place, line in enumerate(lines):
        check_line(line, f"lines.{place}.", faults)
    faults.refuse_if_any()


def check_line(line: WrittenLine, prefix: str, faults: Faults) -> None:
    """Add what is wrong with a line to `faults`, each field named behind `prefix`."""
    is_solvent = line.material.kind == MaterialKind.SOLVENT
    if is_solvent and (line.strength != 1 or line.solvent is not None):
        faults.add(f"{prefix}strength", f"{line.material} is a solvent; write it neat, at strength 1.")
    elif line.solvent is not None and line.solvent.kind != MaterialKind.SOLVENT:
        faults.add(f"{prefix}solvent", f"{line.solvent} is not a solvent.")
    elif line.material.kind == MaterialKind.ODORANT and line.strength < 1 and line.solvent is None:
        faults.add(f"{prefix}solvent", f"A dilution of {line.material} needs the solvent it is in.")
    elif line.strength == 1 and line.solvent is not None:
        faults.add(f"{prefix}solvent", "A neat line (strength 1) has no solvent; leave it out.")


def _refuse_cycle(formula: Formula, lines: Sequence[WrittenLine]) -> None:
    """Raise `FormulaCycle` when a line's base contains, at any depth, the base that this formula is."""
    if formula.base_id is None:
        return
    made_of = _base_recipes(formula.studio_id)
    made_of[formula.base_id] = [line.material.id for line in lines]
    path = _way_back(formula.base_id, made_of)
    if path is None:
        return
    names = dict(Material.objects.filter(id__in=path).values_list("id", "name"))
    called = [names[material_id] for material_id in path]
    sentence = f"{called[0]} would contain itself: {' → '.join(called)}."
    raise FormulaCycle(sentence, errors={"lines": [sentence]}, path=called)


def _base_recipes(studio_id: int) -> dict[int, list[int]]:
    """For every base of the studio, the materials of the version it was adopted with."""
    rows = FormulaLine.objects.filter(
        studio_id=studio_id, version__formula__adopted_id=F("version_id")
    ).values_list("version__formula__base_id", "material_id")
    recipes: dict[int, list[int]] = {}
    for base_id, material_id in rows:
        recipes.setdefault(base_id, []).append(material_id)
    return recipes


def _way_back(start: int, made_of: Mapping[int, Sequence[int]]) -> list[int] | None:
    """The shortest path of materials from `start` to itself, or None when there is none."""
    came_from: dict[int, int] = {}
    frontier = [start]
    while frontier:
        following = []
        for material in frontier:
            for part in made_of.get(material, ()):
                if part == start:
                    return _unwound(start, material, came_from)
                if part not in came_from:
                    came_from[part] = material
                    following.append(part)
        frontier = following
    return None


def _unwound(start: int, last: int, came_from: Mapping[int, int]) -> list[int]:
    path = [start, last] if last != start else [start]
    while path[-1] != start:
        path.append(came_from[path[-1]])
    return [start, *reversed(path[1:-1]), start] if last != start else [start, start]
