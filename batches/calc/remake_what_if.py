"""What if: can this be made by that day? Answered by the plan with what is asked for, beside the plan without it.

What is asked for is served after everything else of its day. The answer is no, too, when it could be had only by making
others wait longer than without it; they are named. Nothing is written and nothing reserved.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import Demand, ItemKey, RemakeRequest, Wanted
from batches.calc.remake_result import LateDemand, MakingRow, PegSort, PurchaseRow, RemakePlan, Shortage

ASKED = "asked"
NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Missing:
    """`mass` grams of an item that are not there by the day asked for, and when they are; None for never, with the reason."""

    item: ItemKey
    name: str
    mass: Decimal
    ready_on: date | None
    reason: str


@dataclass(frozen=True, slots=True)
class CanMake:
    """The answer. `ready_on` is the first day everything asked for is there, None for never.

    `to_do` are the rows that serve it, to be carried out first, in order; `delayed` are demands of others that get later,
    or never, what they would have got without it.
    """

    yes: bool
    day: date
    ready_on: date | None
    missing: tuple[Missing, ...]
    to_do: tuple[MakingRow | PurchaseRow, ...]
    delayed: tuple[LateDemand, ...]
    plan: RemakePlan

    @property
    def sentence(self) -> str:
        if self.yes:
            work = f", once {len(self.to_do)} rows of the plan are done" if self.to_do else ""
            return f"Yes, by {self.day}{work}."
        lacking = (
            f"No, not by {self.day}: {'; '.join(one.reason for one in self.missing)}" if self.missing else ""
        )
        if not lacking:
            return f"Not by {self.day} without making others wait: {'; '.join(one.sentence for one in self.delayed)}"
        when = (
            "It cannot be had at all." if self.ready_on is None else f"It could be ready on {self.ready_on}."
        )
        return f"{lacking} {when}"


def can_make_by(request: RemakeRequest, wanted: Mapping[ItemKey, Decimal], day: date) -> CanMake:
    """Whether `wanted` grams of items can be there by `day`, beside everything the request wants already.

    The plan is looked at until `day` at least. Raises `BadRemakeRequest`.
    """
    asked = tuple(
        Demand(ASKED, "what is asked for", item, day, wanted[item], Wanted.ASKED)
        for item in sorted(wanted, key=lambda item: item.place)
    )
    until = max(request.until, day)
    before = plan_remakes(replace(request, until=until))
    plan = plan_remakes(replace(request, until=until, demands=(*request.demands, *asked)))
    late = [one for one in plan.late if one.sort is PegSort.ASKED]
    missing = tuple(_missing(one, plan.shortages) for one in late)
    ready = None if any(one.ready_on is None for one in late) else max([day, *_days(late)])
    delayed = _delayed(before.late, plan.late)
    return CanMake(
        yes=not late and not delayed,
        day=day,
        ready_on=ready,
        missing=missing,
        to_do=_to_do(plan),
        delayed=delayed,
        plan=plan,
    )


def earliest_possible(request: RemakeRequest, wanted: Mapping[ItemKey, Decimal]) -> date | None:
    """The first day `wanted` could be there if nobody minds waiting; None when it cannot be had at all.

    What is asked for today is asked for as soon as possible, so one plan answers it.
    """
    return can_make_by(request, wanted, request.today).ready_on


def _days(late: Sequence[LateDemand]) -> list[date]:
    return [one.ready_on for one in late if one.ready_on is not None]


def _missing(one: LateDemand, shortages: Sequence[Shortage]) -> Missing:
    told = next(
        (
            shortage.sentence
            for shortage in shortages
            if shortage.item == one.item and any(peg.sort is PegSort.ASKED for peg in shortage.pegs)
        ),
        one.sentence,
    )
    return Missing(one.item, one.name, one.mass, one.ready_on, told)


def _to_do(plan: RemakePlan) -> tuple[MakingRow | PurchaseRow, ...]:
    rows = plan.rows
    serving = {key for key, row in rows.items() if any(peg.sort is PegSort.ASKED for peg in row.pegs)}
    waiting = sorted(serving)
    feeding: dict[str, list[str]] = {}
    for key, row in rows.items():
        for peg in row.pegs:
            if peg.sort is PegSort.ROW:
                feeding.setdefault(peg.ref, []).append(key)
    while waiting:
        for key in feeding.get(waiting.pop(), ()):
            if key not in serving:
                serving.add(key)
                waiting.append(key)
    return tuple(row for row in sorted(rows.values(), key=_begun) if row.key in serving)


def _begun(row: MakingRow | PurchaseRow) -> tuple[date, int, str]:
    return (row.start_on if isinstance(row, MakingRow) else row.order_on, -row.level, row.key)


def _delayed(before: Sequence[LateDemand], after: Sequence[LateDemand]) -> tuple[LateDemand, ...]:
    """Demands of others that are later, or lack more, with what is asked for than without."""
    known = {(one.ref, one.item, one.day): one for one in before}
    delayed = []
    for one in after:
        old = known.get((one.ref, one.item, one.day))
        if one.sort is PegSort.ASKED:
            continue
        if old is None or _waits(one) > _waits(old) or one.mass > old.mass:
            delayed.append(one)
    return tuple(delayed)


def _waits(one: LateDemand) -> date:
    return one.ready_on or date.max
