"""The demo studio as it is written down in `fixtures/demo`: sheets of rows, and two files of what happened.

Nothing is judged here. What is wrong in a sheet is refused by the action that is handed it, as for anybody else.
"""

import csv
import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

Cells = dict[str, str]
Told = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Sheets:
    """What is written: rows by their column names, formulas and scenario as `fixtures/demo/README.md` describes them."""

    materials: list[Cells]
    bottles: list[Cells]
    stocks: list[Cells]
    offers: list[Cells]
    balance_checks: list[Cells]
    formulas: list[Told]
    scenario: Told


def read_sheets(folder: Path) -> Sheets:
    """Read the folder of the demo studio."""
    return Sheets(
        materials=_rows(folder / "materials.csv"),
        bottles=_rows(folder / "bottles.csv"),
        stocks=_rows(folder / "stocks.csv"),
        offers=_rows(folder / "offers.csv"),
        balance_checks=_rows(folder / "balance_checks.csv"),
        formulas=json.loads((folder / "formulas.json").read_text("utf-8")),
        scenario=json.loads((folder / "scenario.json").read_text("utf-8")),
    )


def number(cell: str | None) -> Decimal | None:
    """The number in a cell; an empty or absent cell is not known."""
    return Decimal(cell) if cell else None


def whole(cell: str | None) -> int | None:
    """The whole number in a cell; an empty or absent cell is not known."""
    return int(cell) if cell else None


def _rows(file: Path) -> list[Cells]:
    with file.open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))
