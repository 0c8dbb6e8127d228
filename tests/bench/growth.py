"""Growth: the same rows at 10 k, 100 k and 1 M movements, and the exponent that fits what they took.

Each size is measured by a run of its own, in a process of its own. An exponent of 0 is no growth, 1 is growth in step
with the ledger; the fit is by least squares over the logarithms.
"""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from math import log
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.bench.filled.size import Size, growing
from tests.bench.table import Row

Figure = tuple[str, str, float]
"""Name and operation of a row, and what ours took."""
LINEAR = ("P9", "P10", "P11", "P12", "P13")
"""Rows that may grow in step with the ledger; the others must not grow."""


def print_growth(names: Sequence[str], *, keep: bool, largest: str) -> None:
    """Measure at the sizes up to `largest`, and print what fits."""
    sizes = growing()
    sizes = sizes[: [size.name for size in sizes].index(largest) + 1]
    took = [_took(size, names, keep=keep) for size in sizes]
    print(f"| row | operation | {' | '.join(size.name for size in sizes)} | exponent | at most | |")  # noqa: T201
    print(f"|{' --- |' * (len(sizes) + 5)}")  # noqa: T201
    for rows in zip(*took, strict=True):
        name, operation, _ = rows[-1]
        figures = [figure for _, _, figure in rows]
        found = exponent([size.movements for size in sizes], figures)
        most = 1.1 if name in LINEAR else 0.1
        cells = " | ".join(f"{figure:.1f}" for figure in figures)
        verdict = "met" if found <= most else "missed"
        print(f"| {name} | {operation} | {cells} | {found:.2f} | {most} | {verdict} |")  # noqa: T201


def exponent(sizes: Sequence[float], figures: Sequence[float]) -> float:
    """The slope of log(figure) over log(size)."""
    across, up = [log(size) for size in sizes], [log(figure) for figure in figures]
    middle, height = sum(across) / len(across), sum(up) / len(up)
    lean = sum((x - middle) * (y - height) for x, y in zip(across, up, strict=True))
    return lean / sum((x - middle) ** 2 for x in across)


def keep_figures(rows: Sequence[Row], path: str) -> None:
    """Write what each row took, for the run that compares the sizes."""
    Path(path).write_text(json.dumps([(row.name, row.operation, median(row.ours)) for row in rows]))


def _took(size: Size, names: Sequence[str], *, keep: bool) -> list[Figure]:
    with TemporaryDirectory() as folder:
        path = str(Path(folder) / "figures.json")
        kept = ["--keep"] if keep else []
        command = [sys.executable, "-m", "tests.bench", "--size", size.name, "--figures", path, *kept, *names]
        subprocess.run(command, check=True, env=os.environ, stdout=sys.stderr)
        figures: list[Figure] = json.loads(Path(path).read_text())
        return figures
