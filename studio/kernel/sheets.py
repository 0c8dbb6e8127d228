"""CSV sheets in and out: rows with their line numbers in, cells that no spreadsheet runs as a formula out.

A sheet is read whole or refused with every fault named by line and column. The delimiter is the one of the header
(`,` `;` or tab). A cell that a spreadsheet would take for a formula goes out with an apostrophe before it, unless it
is a plain number; a text that already looks like that gets one more, so reading takes exactly one off and every
text comes back as it was.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence

from studio.kernel.errors import Faults, Invalid

_FORMULA = re.compile("'*[=+\\-@\t\r\n＝＋－＠]")
_PLAIN_NUMBER = re.compile(r"-?[0-9]+([.,][0-9]+)?")
DELIMITERS = (",", ";", "\t")
LONGEST_CELL = 100_000
MOST_FAULTS = 200

Row = tuple[int, dict[str, str]]


class BadSheet(Invalid):
    """The sheet cannot be read as rows: not UTF-8, no header, unknown or missing columns, ragged rows."""

    code = "bad-sheet"
    title = "Unreadable sheet"


def neutralised(cell: str) -> str:
    """`cell` as no spreadsheet takes it for a formula."""
    return f"'{cell}" if _FORMULA.match(cell) and not _PLAIN_NUMBER.fullmatch(cell) else cell


def restored(cell: str) -> str:
    """The text that `neutralised` made `cell` of."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell


def place(line: int, column: str) -> str:
    """How a fault in a sheet is keyed: line and column, such as `12.mass`."""
    return f"{line}.{column}"


def read_rows(
    data: bytes, *, required: Sequence[str], optional: Sequence[str] = (), most_rows: int = 20_000
) -> list[Row]:
    """The rows of a sheet with the line each starts on; cells trimmed, absent optional columns as "".

    Rows that are empty throughout are skipped. Raises `BadSheet` with all faults, keyed by `place`.
    """
    text = _decoded(data)
    lines = _records(text)
    header = next(lines, None)
    if header is None or not any(header[1]):
        raise BadSheet("The sheet is empty; its first line must name the columns.")
    columns = _columns(header[1], required, optional)
    faults = Faults()
    rows: list[Row] = []
    for line, cells in lines:
        if not any(cells):
            continue
        if len(rows) == most_rows:
            raise BadSheet(f"The sheet has more than {most_rows} rows; split it.")
        if len(cells) != len(columns):
            _add_ragged(faults, line, cells, columns)
            if len(faults.errors) >= MOST_FAULTS:
                break
            continue
        found = dict(zip(columns, map(restored, cells), strict=True))
        rows.append((line, {name: found.get(name, "") for name in (*required, *optional)}))
    if faults:
        raise _bad(faults)
    return rows


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise BadSheet(
            f"The sheet is not UTF-8: on line {line}, byte {error.start + 1} fits no character. Save it as CSV UTF-8."
        ) from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadSheet(f"The sheet holds a NUL character on line {line}; it is not a CSV text.")
    return text


def _records(text: str) -> Iterator[tuple[int, list[str]]]:
    """The records with the line each starts on, by the delimiter that the header uses most."""
    head = text.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        start = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise BadSheet(f"Line {start}: {error}.", errors={str(start): [f"{error}."]}) from None
        yield start, [cell.strip() for cell in cells]


def _columns(header: list[str], required: Sequence[str], optional: Sequence[str]) -> list[str]:
    """The header as column names, in lower case; raises `BadSheet` naming what is unknown, missing or twice there."""
    names = [restored(name).lower() for name in header]
    known = [*required, *optional]
    faults = Faults()
    for position, name in enumerate(names, start=1):
        if not name:
            faults.add(place(1, str(position)), f"Column {position} has no name.")
        elif name not in known:
            faults.add(place(1, name), f"There is no column “{name}”; known are {', '.join(known)}.")
        elif names.index(name) != position - 1:
            faults.add(place(1, name), f"The column “{name}” stands there twice.")
    for name in required:
        if name not in names:
            faults.add(place(1, name), f"The column “{name}” is missing.")
    if faults:
        raise _bad(faults)
    return names


def _add_ragged(faults: Faults, line: int, cells: list[str], columns: list[str]) -> None:
    if len(cells) < len(columns):
        name = columns[len(cells)]
        faults.add(place(line, name), f"Line {line} ends before the column “{name}”.")
    else:
        extra = len(columns) + 1
        faults.add(place(line, str(extra)), f"Line {line} has a cell in column {extra}, which has no name.")


def _bad(faults: Faults) -> BadSheet:
    sentences = [sentence for under in faults.errors.values() for sentence in under]
    more = f" ({len(sentences) - 1} more below)" if len(sentences) > 1 else ""
    return BadSheet(sentences[0] + more, errors=faults.errors)
