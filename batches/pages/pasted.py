"""Formula lines out of a spreadsheet: what lies between two cells in the clipboard is a tab, in a saved text a semicolon.

Columns are name, dilution, solvent, parts, or name and parts; a first line that names them may put them in another
order. A dilution is `10 %` or the fraction `0.1`: a bare number above 1 could be either and is refused, and so is a
comma that could part thousands. A comma before any other number of digits is a decimal comma.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.actions.formulas import MOST_LINES
from batches.pages.typed_lines import Reader, ReadRow, TypedRow, new_row, refused
from studio.kernel.errors import Invalid
from studio.kernel.mass import finite_decimal
from studio.pages.tags import plain

LONGEST_TEXT = 100_000
MEANING = {
    "material": ("material", "name", "ingredient"),
    "dilution": ("dilution", "strength"),
    "solvent": ("solvent", "in"),
    "parts": ("parts", "amount", "grams", "g", "mass"),
}
COLUMNS = {2: ("material", "parts"), 4: ("material", "dilution", "solvent", "parts")}
_DECIMAL_COMMA = re.compile(r"[0-9]+,[0-9]+")
_PERHAPS_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(,[0-9]{3})+")


@dataclass(frozen=True, slots=True)
class PastedLine:
    """A line of the text as it was read; `note` says how a doubtful cell was taken."""

    number: int
    read: ReadRow
    note: str = ""


@dataclass(frozen=True, slots=True)
class Pasted:
    """All that was read. It can be taken when there is something and nothing is wrong."""

    lines: list[PastedLine]
    faults: list[str]

    @property
    def can_be_taken(self) -> bool:
        return bool(self.lines) and not self.faults

    @property
    def rows(self) -> list[TypedRow]:
        return [line.read.row for line in self.lines]


def read_pasted(text: str, reader: Reader) -> Pasted:
    """Read the lines of a clipboard; every fault is named with its line and column."""
    if len(text) > LONGEST_TEXT:
        return Pasted([], [f"This text has {len(text)} characters; at most {LONGEST_TEXT} are read."])
    cells = _cells(text)
    if len(cells) > MOST_LINES + 1:
        return Pasted([], [f"A formula has at most {MOST_LINES} lines; this has {len(cells)}."])
    header = _header(cells[0][1]) if cells else None
    faults: list[str] = []
    lines = []
    for number, found in cells[1:] if header else cells:
        columns = header or COLUMNS.get(len(found))
        if columns is None or len(found) > len(columns):
            faults.append(
                f"Line {number} has {len(found)} cells: give name, dilution, solvent and parts, or name and parts, "
                "or name the columns in a first line."
            )
            continue
        line = _read_line(number, dict(zip(columns, found, strict=False)), reader)
        faults += [f"Line {number}, {sentence}" for sentence in _placed(line.read)]
        lines.append(line)
    return Pasted(lines, faults)


def _cells(text: str) -> list[tuple[int, list[str]]]:
    rows = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            delimiter = "\t" if "\t" in line else ";"
            rows.append((number, [cell.strip().strip('"').strip() for cell in line.split(delimiter)]))
    return rows


def _header(first: Sequence[str]) -> list[str] | None:
    """The columns a first line names; None when it is a line like the others."""
    words = {word: column for column, named in MEANING.items() for word in named}
    columns = [words.get(cell.split(",")[0].strip().casefold(), "") for cell in first]
    return columns if "material" in columns and "parts" in columns else None


def _read_line(number: int, cells: dict[str, str], reader: Reader) -> PastedLine:
    faults: dict[str, list[str]] = {}
    note = ""
    typed = {"material": cells.get("material", ""), "solvent": cells.get("solvent", "")}
    for cell in ("dilution", "parts"):
        try:
            text = _with_point(cells.get(cell, ""))
            if cell == "dilution":
                text, note = _percent(text)
            typed[cell] = text
        except Invalid as refusal:
            faults[cell] = [refusal.message]
    [read] = refused([reader.read(TypedRow(key=new_row().key, **typed))])
    if "dilution" in faults and typed["solvent"].casefold() in reader.known:
        # Whether there may be a solvent follows from the dilution that is not known.
        faults.setdefault("solvent", [])
    kept = {cell: told for cell, told in read.faults.items() if cell not in faults}
    return PastedLine(number, ReadRow(read.row, read.line, {**kept, **faults}), note)


def _placed(read: ReadRow) -> list[str]:
    return [f"{cell}: {sentence}" for cell, told in read.faults.items() for sentence in told]


def _with_point(text: str) -> str:
    bare = text.removesuffix("%").strip()
    if _PERHAPS_THOUSANDS.fullmatch(bare):
        raise Invalid(f"“{bare}” may mean thousands or a decimal comma; write it with a point.")
    return text.replace(",", ".") if _DECIMAL_COMMA.fullmatch(bare) else text


def _percent(text: str) -> tuple[str, str]:
    """A dilution as percent, and how it was taken where that could be doubted."""
    if not text or text.casefold() in ("neat", "pure"):
        return "", ""
    if text.endswith("%"):
        percent = finite_decimal(text.removesuffix("%").strip(), "the dilution")
        return ("" if percent == 100 else plain(percent)), ""
    fraction = finite_decimal(text, "the dilution")
    if fraction == 1:
        return "", "1 is read as neat; write 1 % if a hundredth is meant"
    if fraction > 1:
        raise Invalid(
            f"{plain(fraction)} may mean {plain(fraction)} %; write it with the % sign, or as a fraction."
        )
    return plain(fraction * Decimal(100)), ""
