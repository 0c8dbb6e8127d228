"""How measurements are taken and shown: floor and ours in turn, medians, and the ratio of each pair."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from time import perf_counter

RUNS = 9


@dataclass(frozen=True)
class Row:
    """One line of the table: milliseconds of the floor and of ours, and what the ratio is aimed at."""

    name: str
    operation: str
    floor_is: str
    floor_ms: Sequence[float]
    ours_ms: Sequence[float]
    target: float | None

    @property
    def ratio(self) -> float:
        return median(ours / floor for ours, floor in zip(self.ours_ms, self.floor_ms, strict=True))


def in_turn(floor: Callable[[], object], ours: Callable[[], object]) -> tuple[list[float], list[float]]:
    """Milliseconds of both, run in turn after one warm-up each, so that a drift of the machine meets both."""
    floor()
    ours()
    floors, mine = [], []
    for _ in range(RUNS):
        floors.append(milliseconds(floor))
        mine.append(milliseconds(ours))
    return floors, mine


def milliseconds(work: Callable[[], object]) -> float:
    started = perf_counter()
    work()
    return 1000 * (perf_counter() - started)


def print_table(rows: Sequence[Row]) -> None:
    head = ("row", "operation", "floor", "floor ms", "ours ms", "ratio", "target")
    cells = [
        (
            row.name,
            row.operation,
            row.floor_is,
            f"{median(row.floor_ms):.1f}",
            f"{median(row.ours_ms):.1f} ({min(row.ours_ms):.1f}–{max(row.ours_ms):.1f})",
            f"{row.ratio:.2f}",
            "–" if row.target is None else f"{row.target:.1f}",
        )
        for row in rows
    ]
    widths = [max(len(line[column]) for line in [head, *cells]) for column in range(len(head))]
    for line in [head, tuple("-" * width for width in widths), *cells]:
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())  # noqa: T201
