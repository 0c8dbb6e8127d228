"""The sheet of a making day as PDF and as rows."""

from collections.abc import Iterator
from typing import Any

from batches.papers.printing import Copy, Told, printed, silent, written
from batches.papers.square_codes import code_address
from batches.queries.making_days import DaySheet

COLUMNS = ("batch", "title", "state", "position", "lot", "material", "shelf", "mass")


def print_day_sheet(sheet: DaySheet, copy: Copy, told: Told = silent) -> bytes:
    """The PDF: batch by batch the lots to fetch, with a blank to tick, and what is to be ordered."""
    context = {
        "sheet": sheet,
        "copy": copy,
        "makings": [
            (making, [(pour, code_address(pour.link)) for pour in making.pours]) for making in sheet.makings
        ],
    }
    return printed(written("day_sheet.html", context), style="paper.css", told=told)


def day_sheet_rows(sheet: DaySheet) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`, a row a pour; a batch that nothing is planned for has one with its whole mass."""
    for making in sheet.makings:
        head = (making.number, making.title, making.state)
        for pour in making.pours:
            yield (*head, pour.position, pour.lot, pour.material, pour.shelf, pour.target)
        if not making.pours:
            yield (*head, None, None, None, None, making.mass)
