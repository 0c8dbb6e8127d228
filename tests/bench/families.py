"""All rows, family by family. A family is a module with `ROWS`: names, each with a function from the scene to its rows."""

import sys
from collections.abc import Callable, Iterable, Sequence

from tests.bench import (
    alerting,
    arithmetic,
    memory,
    pages,
    papers,
    proving,
    reading,
    remaking,
    reserving,
    sheets,
    tracing,
    weighing,
)
from tests.bench.scene import Scene
from tests.bench.table import Row, table

FAMILIES = (
    tracing,
    reading,
    arithmetic,
    remaking,
    pages,
    papers,
    alerting,
    proving,
    sheets,
    reserving,
    weighing,
    memory,
)
ROWS: dict[str, Callable[[Scene], Iterable[Row]]] = {
    name: measure for family in FAMILIES for name, measure in family.ROWS.items()
}


def measured(names: Sequence[str]) -> list[Row]:
    """The rows of these names, all when there are none, measured on the database in use; printed as one table."""
    scene = Scene.found()
    rows = []
    for name, measure in ROWS.items():
        if names and name not in names:
            continue
        for row in measure(scene):
            print(f"{row.name} {row.operation}: {row.ratio:.2f}", file=sys.stderr, flush=True)  # noqa: T201
            rows.append(row)
    print(table(rows), flush=True)  # noqa: T201
    return rows
