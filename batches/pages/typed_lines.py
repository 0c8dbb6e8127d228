"""Formula lines while they are being typed: rows of text, the lines they stand for, and every fault where it stands.

A row carries a key made in the browser, by which its figures find it again wherever it has been moved to. An empty row
is nothing; a row that is begun and not complete is left out of the live figures and refused when it is to be kept.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from difflib import get_close_matches
from uuid import uuid4

from django.http import QueryDict

from batches.actions.formulas import MOST_LINES, WrittenLine, check_line
from batches.calc.strength import FormulaLine
from batches.calc.written_contents import own_strength
from batches.models import FormulaVersion
from batches.queries.written import Recipes
from inventory.models import Material, MaterialKind
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import exact_strength, finite_decimal
from studio.pages.tags import plain

CELLS = ("material", "dilution", "solvent", "parts")
LONGEST_CELL = 160
LARGEST_PARTS = Decimal(10) ** 11
_KEY = re.compile(r"[a-z0-9]{1,20}")
_STRENGTH_CELL = {"strength": "dilution"}


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One row as it stands in the form; `dilution` is percent and empty for neat."""

    key: str
    material: str = ""
    dilution: str = ""
    solvent: str = ""
    parts: str = ""

    @property
    def is_empty(self) -> bool:
        return not any(getattr(self, cell) for cell in CELLS)


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A row with the line it stands for, or what is wrong with it by cell. A row that is only begun has neither."""

    row: TypedRow
    line: WrittenLine | None = None
    faults: Mapping[str, Sequence[str]] = field(default_factory=dict)
    missing: tuple[str, ...] = ()

    @property
    def sentences(self) -> list[str]:
        return [sentence for told in self.faults.values() for sentence in told]

    @property
    def incomplete(self) -> bool:
        return not self.row.is_empty and self.line is None


def new_row() -> TypedRow:
    """A row to write in."""
    return TypedRow(key=uuid4().hex[:12])


def typed_rows(form: QueryDict) -> list[TypedRow]:
    """The rows of a form in their order. A row whose key is not one is given another."""
    columns = {name: form.getlist(name) for name in ("key", *CELLS)}
    count = min(len(columns["material"]), MOST_LINES + 1)
    rows, seen = [], set()
    for place in range(count):
        cells = {
            name: " ".join(values[place].split())[:LONGEST_CELL] if place < len(values) else ""
            for name, values in columns.items()
        }
        if not _KEY.fullmatch(cells["key"]) or cells["key"] in seen:
            cells["key"] = new_row().key
        seen.add(cells["key"])
        rows.append(TypedRow(**cells))
    return rows


def rows_of(version: FormulaVersion) -> list[TypedRow]:
    """The lines of a version as rows to go on from."""
    return [
        TypedRow(
            key=f"v{line.pk}",
            material=line.material.name,
            dilution="" if line.strength == 1 else plain(line.strength * 100),
            solvent=line.solvent.name if line.solvent else "",
            parts=plain(line.parts),
        )
        for line in version.lines.all()
    ]


class Reader:
    """Reads rows by the studio's materials; a base is taken at its own strength where none is typed."""

    def __init__(self, materials: Iterable[Material], recipes: Recipes) -> None:
        self.known = {material.name.casefold(): material for material in materials}
        self.own = {base: own_strength(lines) for base, lines in recipes.items() if lines}

    def read(self, row: TypedRow) -> ReadRow:
        """One row as a line, or with its faults."""
        if row.is_empty:
            return ReadRow(row)
        faults = Faults()
        material = self._named(row.material, "material", faults)
        solvent = self._named(row.solvent, "solvent", faults)
        strength = self._strength(row.dilution, material, faults)
        parts = _parts(row.parts, faults)
        missing = tuple(cell for cell in ("material", "parts") if not getattr(row, cell))
        if faults or missing or material is None or parts is None:
            return ReadRow(row, faults=faults.errors, missing=missing)
        line = WrittenLine(material=material, parts=parts, strength=strength, solvent=solvent)
        check_line(line, "", faults)
        if faults:
            cells = {_STRENGTH_CELL.get(name, name): told for name, told in faults.errors.items()}
            return ReadRow(row, faults=cells)
        return ReadRow(row, line=line)

    def _named(self, text: str, cell: str, faults: Faults) -> Material | None:
        if not text:
            return None
        found = self.known.get(text.casefold())
        if found is None:
            near = get_close_matches(text.casefold(), self.known, n=1)
            hint = f" Did you mean {self.known[near[0]]}?" if near else ""
            faults.add(cell, f"There is no material “{text[:80]}” here.{hint}")
        return found

    def _strength(self, text: str, material: Material | None, faults: Faults) -> Decimal:
        if not text:
            own = self.own.get(material.pk) if material else None
            return own or Decimal(1)
        try:
            percent = finite_decimal(text.removesuffix("%").strip(), "the dilution")
            if not 0 < percent <= 100:
                raise Invalid(f"A dilution lies above 0 % and goes up to 100 %, not {plain(percent)} %.")
            return exact_strength(percent / 100, "the dilution")
        except Invalid as refusal:
            faults.add("dilution", refusal.message)
            return Decimal(1)


def _parts(text: str, faults: Faults) -> Decimal | None:
    if not text:
        return None
    try:
        parts = finite_decimal(text, "the amount")
        if not 0 < parts < LARGEST_PARTS:
            raise Invalid("Parts are more than zero and less than a hundred billion.")
        if parts != round(parts, 6):
            raise Invalid("Give parts with at most six decimal places.")
    except Invalid as refusal:
        faults.add("parts", refusal.message)
        return None
    return parts


def refused(read: Sequence[ReadRow]) -> list[ReadRow]:
    """The rows as they are to be shown when they cannot be kept: what is missing is a fault too."""
    told = {"material": "A line needs its material.", "parts": "A line needs its parts."}
    return [
        replace(one, faults={**one.faults, **{cell: [told[cell]] for cell in one.missing}}) for one in read
    ]


def while_typing(read: Sequence[ReadRow], known: Iterable[str]) -> list[ReadRow]:
    """The rows as they are shown between keystrokes: the beginning of a name that is known is no fault yet."""
    names = list(known)

    def begun(one: ReadRow, cell: str) -> bool:
        text = getattr(one.row, cell).casefold()
        return cell in ("material", "solvent") and any(name.startswith(text) for name in names)

    return [
        replace(one, faults={cell: told for cell, told in one.faults.items() if not begun(one, cell)})
        if one.faults
        else one
        for one in read
    ]


def calc_lines(read: Sequence[ReadRow]) -> list[FormulaLine]:
    """The complete lines as the arithmetic takes them, keyed by their place among the rows."""
    return [
        FormulaLine(
            key=place,
            material=one.line.material.pk,
            name=one.line.material.name,
            parts=one.line.parts,
            strength=one.line.strength,
            solvent=one.line.solvent.pk if one.line.solvent else None,
            is_solvent=one.line.material.kind == MaterialKind.SOLVENT,
        )
        for place, one in enumerate(read)
        if one.line is not None
    ]
