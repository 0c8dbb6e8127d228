"""The sheet of a panel's trays as PDF and as rows."""

from collections.abc import Iterator
from typing import Any

from batches.papers.printing import Copy, Told, printed, silent, written
from batches.queries.serving_sheets import ServingSheet

COLUMNS = ("panel", "tray", "first", "second", "third", "by", "chosen")
PLACES = 3


def print_serving_sheet(sheet: ServingSheet, copy: Copy, told: Told = silent) -> bytes:
    """The PDF, with a blank for who answers and a box beside each number."""
    return printed(written("servings.html", {"sheet": sheet, "copy": copy}), style="paper.css", told=told)


def serving_sheet_rows(sheet: ServingSheet) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`, the last two left empty to be filled in."""
    for tray in sheet.trays:
        codes = ["reference" if code is None else code for code in tray.codes]
        yield (sheet.panel, tray.number, *codes, *[None] * (PLACES - len(codes)), None, None)
