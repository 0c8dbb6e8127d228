"""All rows, family by family. A family is a module with `ROWS`: names, each with a function from the scene to its rows."""

from collections.abc import Callable, Sequence

from tests.bench import arithmetic, memory, pages, proving, reading, reserving, sheets, tracing, weighing
from tests.bench.scene import Scene
from tests.bench.table import Row, table

FAMILIES = (tracing, reading, arithmetic, pages, proving, sheets, reserving, weighing, memory)
ROWS: dict[str, Callable[[Scene], list[Row]]] = {
    name: measure for family in FAMILIES for name, measure in family.ROWS.items()
}


def measured(names: Sequence[str]) -> list[Row]:
    """The rows of these names, all when there are none, measured on the database in use; printed as one table."""
    scene = Scene.found()
    rows = [row for name, measure in ROWS.items() if not names or name in names for row in measure(scene)]
    print(table(rows), flush=True)  # noqa: T201
    return rows
