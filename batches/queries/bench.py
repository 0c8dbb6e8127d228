"""Everything the bench shows of a batch: each line with its lot, the lot's cautions and what was weighed, and the ways on.

The number of statements does not grow with the batch: one each for lots, cautions, weighings and history beside those of
`batch_in_hand`, and those of `ways_on` only while a line holds too much.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from batches.calc.overpour import OverpourOption
from batches.models import CLAIMING, Batch, BatchState, Weighing
from batches.queries.batches import BatchInHand, BenchLine, batch_in_hand, ways_on, weighings_of
from inventory.calc.cautions import CautionReport
from inventory.models import Lot
from inventory.queries.finding import SOON
from inventory.queries.shelf import cautions_of_each, lots_of
from studio.kernel.mass import ZERO_MASS
from studio.models import Studio
from studio.queries.history import history_of


@dataclass(frozen=True, slots=True)
class Pour:
    """One line at the bench: its lot with names, cautions and warnings, and its weighings, struck ones included."""

    line: BenchLine
    lot: Lot
    cautions: CautionReport
    warnings: tuple[str, ...]
    weighings: list[Weighing]
    previous: int | None
    next: int | None

    @property
    def position(self) -> int:
        return self.line.line.position

    @property
    def stopped(self) -> bool:
        """Whether nothing can be recorded of this lot."""
        return self.lot.held_at is not None


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """A batch at the bench. `ways` are empty unless a line holds too much; `settled` says that one was chosen since."""

    hand: BatchInHand
    pours: list[Pour]
    ways: tuple[OverpourOption, ...]
    settled: bool

    @property
    def batch(self) -> Batch:
        return self.hand.batch

    @property
    def open(self) -> bool:
        """Whether weighings can be recorded."""
        return self.batch.state in CLAIMING

    @property
    def weighed(self) -> Decimal:
        return sum((pour.line.weighed for pour in self.pours), ZERO_MASS)

    @property
    def wanted(self) -> Decimal:
        return sum((pour.line.line.target for pour in self.pours if not pour.line.line.left_out), ZERO_MASS)

    @property
    def to_pour(self) -> int:
        """How many lines are to hold something."""
        return sum(not pour.line.line.left_out for pour in self.pours)

    @property
    def poured(self) -> int:
        """How many lines hold enough."""
        return sum(pour.line.state in ("done", "over") for pour in self.pours)

    @property
    def first_open(self) -> int | None:
        """The first line in pouring order that does not hold enough yet."""
        return next((p.position for p in self.pours if p.line.state in ("open", "begun")), None)

    @property
    def over(self) -> list[Pour]:
        return [pour for pour in self.pours if pour.line.state == "over"]


def bench_sheet(*, studio: Studio, number: str, today: date) -> BenchSheet:
    """The batch of this number as it stands at the bench; raises `NoSuchThing`."""
    hand = batch_in_hand(studio=studio, number=number)
    lots = {lot.id: lot for lot in lots_of(studio).filter(id__in={line.line.lot_id for line in hand.lines})}
    reports = cautions_of_each(lots.values())
    weighings = defaultdict(list)
    for weighing in weighings_of(studio=studio, number=number):
        weighings[weighing.line_id].append(weighing)
    places = [line.line.position for line in hand.lines]
    pours = [
        Pour(
            line=line,
            lot=lots[line.line.lot_id],
            cautions=reports[line.line.lot_id],
            warnings=tuple(_warnings(hand, line, lots[line.line.lot_id], today)),
            weighings=weighings[line.line.id],
            previous=places[place - 1] if place else None,
            next=places[place + 1] if place + 1 < len(places) else None,
        )
        for place, line in enumerate(hand.lines)
    ]
    over = [pour for pour in pours if pour.line.state == "over"]
    weighing_still = hand.batch.state == BatchState.WEIGHING
    return BenchSheet(
        hand=hand,
        pours=pours,
        ways=ways_on(studio=studio, number=number) if over and weighing_still else (),
        settled=bool(over) and _way_chosen_since(studio, number, over),
    )


def bench_edition(*, studio: Studio, number: str) -> int:
    """The edition of a batch, to see cheaply whether anything happened to it."""
    batch: Batch = Batch.objects.only("id", "edition").one(studio, "batch", number=number)
    return batch.edition


def _warnings(hand: BatchInHand, line: BenchLine, lot: Lot, today: date) -> Iterable[str]:
    """What to know of a lot before it is poured, worst first, in sentences."""
    if lot.held_at is not None:
        yield f"On hold: {lot.hold_reason} Nothing of it can be recorded until it is released."
    if lot.expires_on is not None and lot.expires_on < today:
        why = line.line.expired_reason
        yield f"Its day was {lot.expires_on:%d %b %Y}; it has expired." + (
            f" Used because: {why}" if why else ""
        )
    elif lot.expires_on is not None and lot.expires_on <= today + SOON:
        yield f"It expires soon, on {lot.expires_on:%d %b %Y}."
    if any(standing.claim.lot_id == lot.id for standing in hand.short_claims):
        yield "Others poured more of it than they had claimed; there may not be enough for this batch."


def _way_chosen_since(studio: Studio, number: str, over: list[Pour]) -> bool:
    """Whether a way on was chosen after the last weighing of the lines that hold too much."""
    last = max(weighing.recorded_at for pour in over for weighing in pour.weighings)
    entries = history_of(studio).filter(subject="batch", name=number, verb="way on chosen")
    return entries.filter(at__gte=last).exists()
