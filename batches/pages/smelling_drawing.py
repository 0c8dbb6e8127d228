"""Intensity over the minutes since dipping, a line for each nose and scale, drawn on the server.

Time runs along a logarithm of one more than the minutes, because what happens on a strip in the first quarter of an hour
wants as much room as the night after it.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from batches.models import Smelling

WIDE, HIGH, LEFT, TOP = 440, 200, 34, 14
MARKS = ((0, "0"), (5, "5 min"), (15, "15 min"), (60, "1 h"), (240, "4 h"), (1440, "1 d"), (10080, "7 d"))
SHORTEST = 60
DASHES = ("none", "7 4", "2 4", "9 3 2 3")


@dataclass(frozen=True, slots=True)
class Point:
    x: float
    y: float
    told: str


@dataclass(frozen=True, slots=True)
class NoseLine:
    """One nose on one scale; `place` counts from 1 and chooses how it is drawn, `name` says whose it is."""

    name: str
    path: str
    points: list[Point]
    dash: str
    place: int


@dataclass(frozen=True, slots=True)
class Curves:
    lines: list[NoseLine]
    marks: list[tuple[float, str]]
    levels: list[tuple[float, int]]
    width: int = WIDE + LEFT + 12
    height: int = HIGH + TOP + 30
    left: int = LEFT
    bottom: int = HIGH + TOP


def curves_of(notes: Sequence[Smelling]) -> Curves | None:
    """The notes that have minutes and an intensity, drawn; None when there are none."""
    timed = [note for note in notes if note.minutes is not None and note.intensity is not None]
    if not timed:
        return None
    longest = max(SHORTEST, max(float(note.minutes or 0) for note in timed))

    def x(minutes: float) -> float:
        return round(LEFT + log(1 + minutes) / log(1 + longest) * WIDE, 1)

    def y(intensity: float) -> float:
        return round(TOP + HIGH - intensity / 10 * HIGH, 1)

    by_nose: dict[tuple[str, str], list[Smelling]] = defaultdict(list)
    for note in timed:
        by_nose[str(note.by), note.scale].append(note)
    lines = []
    for place, ((nose, scale), of_nose) in enumerate(sorted(by_nose.items())):
        rising = sorted(of_nose, key=lambda note: (note.minutes or 0, note.pk))
        points = [
            Point(
                x(float(note.minutes or 0)),
                y(float(note.intensity or 0)),
                f"{nose}, {note.minutes} min: {note.intensity}",
            )
            for note in rising
        ]
        path = "M" + "L".join(f"{point.x} {point.y}" for point in points)
        lines.append(
            NoseLine(f"{nose} ({scale} scale)", path, points, DASHES[place % len(DASHES)], place % 4 + 1)
        )
    return Curves(
        lines=lines,
        marks=[(x(minutes), label) for minutes, label in MARKS if minutes <= longest],
        levels=[(y(level), level) for level in (0, 2, 4, 6, 8, 10)],
    )
