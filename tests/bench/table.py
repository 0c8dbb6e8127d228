"""How measurements are taken and shown: floor and ours in turn, medians, and the ratio of each pair."""

import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from time import perf_counter

from django.db import connection
from django.test.utils import CaptureQueriesContext

FEWEST, RUNS, MOST_RUNS, ENOUGH_MS = 3, 9, 31, 3_000


@dataclass(frozen=True)
class Row:
    """One line of the table: what the floor and ours took, in `unit`, and what the ratio is aimed at.

    `statements` are those of one run of ours, `peak_mb` the most that it had allocated in Python at once.
    """

    name: str
    operation: str
    floor_is: str
    floor: Sequence[float]
    ours: Sequence[float]
    target: float | None
    statements: int | None = None
    peak_mb: float | None = None
    unit: str = "ms"

    @property
    def ratio(self) -> float:
        return median(ours / floor for ours, floor in zip(self.ours, self.floor, strict=True))

    @property
    def verdict(self) -> str:
        if self.target is None:
            return ""
        return "met" if self.ratio <= self.target else "missed"


def compared(
    name: str,
    operation: str,
    floor_is: str,
    floor: Callable[[], object],
    ours: Callable[[], object],
    target: float | None,
    *,
    runs: int | None = None,
) -> Row:
    """The row of two ways to do the same work: timed in turn, then ours once more for statements and memory.

    What is done quickly is done more often, because the machine has other work.
    """
    floors, mine = in_turn(floor, ours, runs or _runs(ours))
    statements = statements_of(ours)
    return Row(name, operation, floor_is, floors, mine, target, statements, _peak_mb(ours))


def statements_of(work: Callable[[], object]) -> int:
    """How many statements one run asks of the database."""
    with CaptureQueriesContext(connection) as queries:
        work()
    return len(queries)


def in_turn(
    floor: Callable[[], object], ours: Callable[[], object], runs: int = RUNS
) -> tuple[list[float], list[float]]:
    """Milliseconds of both, run in turn after one warm-up each, so that a drift of the machine meets both."""
    floor()
    ours()
    floors, mine = [], []
    for _ in range(runs):
        floors.append(milliseconds(floor))
        mine.append(milliseconds(ours))
    return floors, mine


def _runs(work: Callable[[], object]) -> int:
    work()
    return max(FEWEST, min(MOST_RUNS, round(ENOUGH_MS / milliseconds(work))))


def milliseconds(work: Callable[[], object]) -> float:
    started = perf_counter()
    work()
    return 1000 * (perf_counter() - started)


def _peak_mb(work: Callable[[], object]) -> float:
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()


HEAD = ("row", "operation", "floor", "floor took", "ours took", "ratio", "aim", "statements", "peak MB", "")


def table(rows: Sequence[Row]) -> str:
    """The rows as lines of a table that reads as plain text and as Markdown."""
    cells = [_cells(row) for row in rows]
    widths = [max(len(line[column]) for line in [HEAD, *cells]) for column in range(len(HEAD))]
    lines = [HEAD, tuple("-" * width for width in widths), *cells]
    return "\n".join(
        f"| {' | '.join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))} |"
        for line in lines
    )


def _cells(row: Row) -> tuple[str, ...]:
    return (
        row.name,
        row.operation,
        row.floor_is,
        f"{_figure(median(row.floor))} {row.unit}",
        f"{_figure(median(row.ours))} ({_figure(min(row.ours))}–{_figure(max(row.ours))}) {row.unit}",
        f"{row.ratio:.2f}",
        "–" if row.target is None else f"{row.target:.1f}",
        "–" if row.statements is None else str(row.statements),
        "–" if row.peak_mb is None else f"{row.peak_mb:.1f}",
        row.verdict,
    )


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"
