"""The list for counting a shelf as PDF and as rows."""

from collections.abc import Iterator
from typing import Any

from batches.papers.printing import Copy, Told, printed, silent, written
from batches.papers.square_codes import code_address
from batches.queries.count_lists import CountList

COLUMNS = (
    "shelf", "lot", "kind", "title", "strength", "solvent", "tare", "expires_on", "keeper", "held", "gross", "note",
)  # fmt: skip


def print_count_list(count_list: CountList, copy: Copy, told: Told = silent) -> bytes:
    """The PDF, with blanks for gross mass and remarks."""
    context = {
        "list": count_list,
        "copy": copy,
        "lines": [(line, code_address(line.link)) for line in count_list.lines],
    }
    return printed(written("count_list.html", context), style="paper.css", told=told)


def count_list_rows(count_list: CountList) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`, the last two left empty to be filled in."""
    for line in count_list.lines:
        yield (
            count_list.shelf,
            line.lot,
            line.kind,
            line.title,
            line.strength,
            line.solvent,
            line.tare,
            line.expires_on,
            line.keeper,
            line.held,
            None,
            None,
        )
