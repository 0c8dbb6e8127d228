"""What a remake plan answers: what to make and to buy, for whom, in which order, what runs out, and what cannot be had.

Rows keep facts only; their sentences are written when somebody reads them. Masses are grams on the microgram.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from batches.calc.remake_request import ItemKey
from inventory.calc.wording import figure, listed, readable


class PegSort(StrEnum):
    """What a mass is for: a demand by its kind, a par, another row of the plan, or nothing that is known."""

    BATCH = "batch"
    USE = "use"
    ASKED = "asked"
    PAR = "par"
    ROW = "row"
    SPARE = "spare"


class SourceSort(StrEnum):
    """Where a mass comes from: a lot on the shelf, something on its way, another row, or nowhere."""

    LOT = "lot"
    RECEIPT = "receipt"
    ROW = "row"
    SHORT = "short"


class SizeReason(StrEnum):
    """Why a row is as large as it is."""

    NEED = "need"
    SEVERAL = "several"
    SMALLEST = "smallest"
    FULL = "full"
    SHELF_LIFE = "shelf-life"
    CONTAINER = "container"
    PACKS = "packs"
    KEPT = "kept"


class Obstacle(StrEnum):
    """Why something cannot be had."""

    NO_ROUTE = "no-route"
    CYCLE = "cycle"
    TOO_SHORT_LIVED = "too-short-lived"
    BY_HAND = "by-hand"
    """Somebody chose a smaller mass than is needed."""


@dataclass(frozen=True, slots=True)
class Peg:
    """`mass` grams are for this: `ref` of the demand, key of the row, or text of the item for a par; on `day`."""

    sort: PegSort
    ref: str
    label: str
    day: date
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Source:
    """`mass` grams come from this: id of the lot as text, `ref` of the receipt, or key of the row."""

    sort: SourceSort
    ref: str
    label: str
    mass: Decimal


@dataclass(frozen=True, slots=True)
class RowInput:
    """What one making takes of one item, to the microgram that will be weighed, and from where."""

    item: ItemKey
    name: str
    mass: Decimal
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class MakingRow:
    """Make `mass` grams of an item. `key` is stable for the same request.

    `start_by` is the latest day to begin on so that it is usable on `needed_on`; `start_on` the day planned, never
    before today; `usable_on` follows from it. `late` when it is usable only after `needed_on`. `expires_on` is by the item's own
    rule; `good_for` the last day something planned needs it, which all its inputs outlive.
    """

    key: str
    item: ItemKey
    name: str
    mass: Decimal
    start_by: date
    start_on: date
    usable_on: date
    needed_on: date
    expires_on: date | None
    good_for: date
    late: bool
    why_so_much: SizeReason
    inputs: tuple[RowInput, ...]
    pegs: tuple[Peg, ...]
    level: int

    @property
    def sentences(self) -> tuple[str, ...]:
        """The row explained: what, from what, for whom, why so much, and how late."""
        return (
            f"Make {figure(self.mass)} g of {self.name} on {self.start_on}, usable from {self.usable_on}.",
            f"It takes {listed([_taken(one) for one in self.inputs])}.",
            _for_whom(self.pegs),
            *_size_sentence(self.why_so_much, self.pegs, self.mass),
            *_late_sentence(self.late, "begun", self.start_by, self.usable_on, self.needed_on),
        )


@dataclass(frozen=True, slots=True)
class PackCount:
    """`count` packs by one offer; `price` of one, `cost` of all."""

    offer: int
    pack: Decimal
    count: int
    price: Decimal
    cost: Decimal


@dataclass(frozen=True, slots=True)
class PurchaseRow:
    """Buy packs of an item from one supplier, ordered on `order_on` (at the latest `order_by` to be in time)."""

    key: str
    item: ItemKey
    name: str
    supplier: int
    supplier_name: str
    packs: tuple[PackCount, ...]
    mass: Decimal
    cost: Decimal
    order_by: date
    order_on: date
    arrives_on: date
    needed_on: date
    expires_on: date | None
    late: bool
    why_so_much: SizeReason
    pegs: tuple[Peg, ...]
    level: int

    @property
    def sentences(self) -> tuple[str, ...]:
        """The row explained: what, for whom, why so much, and how late."""
        packs = listed([f"{pack.count} × {figure(pack.pack)} g" for pack in self.packs])
        return (
            f"Order {packs} of {self.name} from {self.supplier_name} on {self.order_on} for {figure(self.cost)}; "
            f"it comes on {self.arrives_on}.",
            _for_whom(self.pegs),
            *_size_sentence(self.why_so_much, self.pegs, self.mass),
            *_late_sentence(self.late, "ordered", self.order_by, self.arrives_on, self.needed_on),
        )


@dataclass(frozen=True, slots=True)
class Shortage:
    """`mass` grams of an item wanted on `day` that cannot be had at all.

    `path` leads from the item, by name, through what it is made of to what stands in the way (`for_want_of`); for a
    cycle, round it once. What can be made of the rest stands in the rows; this is what remains.
    """

    item: ItemKey
    name: str
    day: date
    mass: Decimal
    obstacle: Obstacle
    for_want_of: ItemKey
    path: tuple[str, ...]
    pegs: tuple[Peg, ...]

    @property
    def sentence(self) -> str:
        lacking = f"{figure(self.mass)} g of {self.name} are missing on {self.day}"
        culprit = f"{lacking}: " if len(self.path) == 1 else f"{lacking}, for want of {self.path[-1]}: "
        return {
            Obstacle.CYCLE: f"{lacking}: it would be made of itself ({' → '.join(self.path)}), and nobody sells it.",
            Obstacle.TOO_SHORT_LIVED: f"{culprit}what is made now would expire before it is ready.",
            Obstacle.NO_ROUTE: f"{culprit}there is no recipe for it, and no supplier offers it.",
            Obstacle.BY_HAND: f"{lacking}, because less was chosen by hand than is needed.",
        }[self.obstacle]


@dataclass(frozen=True, slots=True)
class LateDemand:
    """A demand that gets `mass` grams only on `ready_on`, None for never, though it wants them on `day`."""

    sort: PegSort
    ref: str
    label: str
    item: ItemKey
    name: str
    day: date
    mass: Decimal
    ready_on: date | None

    @property
    def sentence(self) -> str:
        lacking = f"{figure(self.mass)} g of {self.name} for {self.label} ({self.day})"
        return (
            f"{lacking} cannot be had."
            if self.ready_on is None
            else f"{lacking} are ready on {self.ready_on}."
        )


@dataclass(frozen=True, slots=True)
class WastefulExpiry:
    """`mass` grams of a lot, a receipt or a row that nothing uses until its last good day, `expires_on`."""

    source: Source
    item: ItemKey
    name: str
    expires_on: date

    @property
    def sentence(self) -> str:
        return (
            f"{figure(self.source.mass)} g of {self.name} ({self.source.label}) will expire on {self.expires_on} "
            f"before anything uses it."
        )


@dataclass(frozen=True, slots=True)
class RunsShort:
    """The first day an item is short if nothing of the plan is done, by how much, and for whom."""

    item: ItemKey
    name: str
    day: date
    mass: Decimal
    peg: Peg


@dataclass(frozen=True, slots=True)
class Allotment:
    """`mass` grams of a lot or receipt go to a demand or row."""

    source: Source
    item: ItemKey
    peg: Peg


@dataclass(frozen=True, slots=True)
class MakingDay:
    """The rows begun on one day, by key, in the order to work, and how many times a container is taken in hand."""

    day: date
    rows: tuple[str, ...]
    times_in_hand: int
    exact: bool
    """Whether no order takes containers in hand fewer times; False for days too large to try every order."""


@dataclass(frozen=True, slots=True)
class RemakePlan:
    """The plan. Rows are sorted by day, then the deepest level first, then by item.

    `levels` are low-level codes: 0 for what no recipe takes, else one more than the highest of what takes it.
    """

    today: date
    until: date
    makings: tuple[MakingRow, ...]
    purchases: tuple[PurchaseRow, ...]
    shortages: tuple[Shortage, ...]
    late: tuple[LateDemand, ...]
    expiries: tuple[WastefulExpiry, ...]
    runs_short: tuple[RunsShort, ...]
    allotments: tuple[Allotment, ...]
    days: tuple[MakingDay, ...]
    levels: Mapping[ItemKey, int] = field(hash=False)

    @property
    def rows(self) -> dict[str, MakingRow | PurchaseRow]:
        """Makings and purchases by key."""
        return {row.key: row for row in self.makings} | {row.key: row for row in self.purchases}

    @property
    def cost(self) -> Decimal:
        """Of everything to buy."""
        return sum((row.cost for row in self.purchases), Decimal(0))

    def behind(self, key: str) -> tuple[Peg, ...]:
        """The demands and pars that a row serves in the end, through all rows between, in day order, without repeats.

        A peg's mass is what the demand asks of the row it is pegged to at the top, not of this one.
        """
        rows = self.rows
        seen, waiting = {key}, [key]
        found: set[Peg] = set()
        while waiting:
            for peg in rows[waiting.pop()].pegs:
                if peg.sort is not PegSort.ROW:
                    found.add(peg)
                elif peg.ref not in seen:
                    seen.add(peg.ref)
                    waiting.append(peg.ref)
        return tuple(sorted(found, key=lambda peg: (peg.day, peg.sort, peg.ref, peg.mass)))


def _taken(one: RowInput) -> str:
    sources = listed([source.label for source in one.sources])
    return f"{readable(one.mass, 6)} g of {one.name}" + (f" ({sources})" if sources else "")


_SHOWN = 4


def _for_whom(pegs: tuple[Peg, ...]) -> str:
    wanted = [peg for peg in pegs if peg.sort is not PegSort.SPARE]
    shown = [f"{figure(peg.mass)} g for {peg.label} on {peg.day}" for peg in wanted[:_SHOWN]]
    if len(wanted) > _SHOWN:
        shown.append(f"{len(wanted) - _SHOWN} more until {max(peg.day for peg in wanted)}")
    return f"Of it, {listed(shown)}."


def _size_sentence(reason: SizeReason, pegs: tuple[Peg, ...], mass: Decimal) -> tuple[str, ...]:
    spare = sum((peg.mass for peg in pegs if peg.sort is PegSort.SPARE), Decimal(0))
    left = f", so {figure(spare)} g are spare" if spare else ""
    told = {
        SizeReason.NEED: "",
        SizeReason.SEVERAL: "One making serves several needs, because that is less work than keeping it costs.",
        SizeReason.SMALLEST: f"{figure(mass)} g is the least that can be weighed well{left}.",
        SizeReason.FULL: "It fills the shelf up to full.",
        SizeReason.SHELF_LIFE: "No more is made than is used before it expires.",
        SizeReason.CONTAINER: "The container takes no more at once.",
        SizeReason.PACKS: f"These packs cost the least{left}.",
        SizeReason.KEPT: f"The mass was chosen by hand{left}.",
    }[reason]
    return (told,) if told else ()


def _late_sentence(late: bool, verb: str, by: date, there: date, needed: date) -> tuple[str, ...]:
    if not late:
        return ()
    return (f"This is late: it should have been {verb} by {by} for {needed}; the earliest is {there}.",)
