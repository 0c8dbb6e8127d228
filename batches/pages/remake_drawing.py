"""The remake plan as a drawing: a row for each making and purchase, days from left to right."""

from dataclasses import dataclass
from datetime import date, timedelta

from batches.calc.remake_result import MakingRow, PurchaseRow, RemakePlan

LABEL, DAY, LINE, HEAD = 240, 26, 30, 40
LONGEST = 62
"""Days that are drawn at most; what comes later stands in the table alone."""
LONGEST_NAME = 34


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A bar from beginning (or ordering) to being usable, and a mark on the day it is needed."""

    name: str
    told: str
    y: int
    bar_y: int
    x: int
    width: int
    mark: int
    late: bool
    bought: bool


@dataclass(frozen=True, slots=True)
class DrawnDay:
    x: int
    middle: int
    label: str
    monday: bool


@dataclass(frozen=True, slots=True)
class DrawnPlan:
    rows: list[DrawnRow]
    days: list[DrawnDay]
    width: int
    height: int


def drawn_plan(plan: RemakePlan) -> DrawnPlan:
    """The plan drawn as far as `LONGEST` days."""
    shown: list[MakingRow | PurchaseRow] = [*plan.purchases, *plan.makings]
    count = min(max(((_ends(row) - plan.today).days for row in shown), default=0) + 1, LONGEST)
    days = [_day(plan.today, number) for number in range(count)]
    rows = [
        _row(row, place, plan.today, count)
        for place, row in enumerate(shown)
        if (_begins(row) - plan.today).days < count
    ]
    return DrawnPlan(
        rows=rows, days=days, width=LABEL + count * DAY + 10, height=HEAD + len(rows) * LINE + 10
    )


def _begins(row: MakingRow | PurchaseRow) -> date:
    return row.start_on if isinstance(row, MakingRow) else row.order_on


def _there(row: MakingRow | PurchaseRow) -> date:
    return row.usable_on if isinstance(row, MakingRow) else row.arrives_on


def _ends(row: MakingRow | PurchaseRow) -> date:
    return max(_there(row), row.needed_on)


def _day(today: date, number: int) -> DrawnDay:
    day = today + timedelta(days=number)
    x = LABEL + number * DAY
    return DrawnDay(x=x, middle=x + DAY // 2, label=str(day.day), monday=day.weekday() == 0)


def _row(row: MakingRow | PurchaseRow, place: int, today: date, count: int) -> DrawnRow:
    first = (_begins(row) - today).days
    last = min((_there(row) - today).days, count - 1)
    needed = min((row.needed_on - today).days, count - 1)
    name = row.name if len(row.name) <= LONGEST_NAME else f"{row.name[: LONGEST_NAME - 1]}…"
    verb = "begin" if isinstance(row, MakingRow) else "order"
    y = HEAD + place * LINE
    return DrawnRow(
        name=name,
        told=f"{row.name}: {verb} {_begins(row)}, there {_there(row)}, needed {row.needed_on}",
        y=y + LINE - 10,
        bar_y=y + 6,
        x=LABEL + first * DAY + 2,
        width=(last - first + 1) * DAY - 4,
        mark=LABEL + max(needed, 0) * DAY + DAY // 2,
        late=row.late,
        bought=isinstance(row, PurchaseRow),
    )
