"""The recall report as PDF and as rows."""

from collections.abc import Iterator
from typing import Any

from batches.papers.printing import Copy, Told, printed, silent, written
from batches.papers.square_codes import code_address
from batches.queries.recalls import Recall

COLUMNS = (
    "generation", "lot", "kind", "title", "made_in", "mass_of_recalled", "made_mass", "on_hand", "shelf", "keeper", "held",
)  # fmt: skip


def print_recall(recall: Recall, copy: Copy, told: Told = silent) -> bytes:
    """The PDF: where the lot went, where that stands, which open batches it touches, and what has left."""
    context = {"recall": recall, "copy": copy, "code": code_address(recall.link)}
    return printed(written("recall.html", context), style="paper.css", told=told)


def recall_rows(recall: Recall) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`: the lot itself as generation 0, then everything it went into."""
    yield (
        0,
        recall.lot,
        recall.kind,
        recall.title,
        recall.made_in,
        recall.made_mass,
        recall.made_mass,
        recall.on_hand,
        recall.shelf,
        recall.keeper,
        recall.held_since is not None,
    )
    for one in recall.reached:
        yield (
            one.generation,
            one.lot,
            one.kind,
            one.title,
            one.made_in,
            one.mass,
            one.made_mass,
            one.on_hand,
            one.shelf,
            one.keeper,
            one.held,
        )
