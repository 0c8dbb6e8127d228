"""Weighing a batch of the demo studio, with the small deviations, the slip and the overpour that are written for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import cycle

from batches.actions.rescuing import choose_way_on
from batches.actions.weighing import Reading, log_weighings, strike_weighing
from batches.calc.overpour import Way
from batches.demo.days import Days
from batches.models import Batch, BatchLine, ReadingSource, Weighing
from inventory.calc.wording import figure
from inventory.models import Balance
from studio.kernel.mass import ZERO_MASS
from studio.models import Member

MINUTES_A_POUR = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A wrong entry for the line of a material, struck through before the right one is logged."""

    material: str
    mass: Decimal
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pouring:
    """How a batch is weighed; masses in grams.

    `deviations` are added to the targets of lines by material, once each, `other_deviations` to the other lines in
    turn. After the line of the material `overpoured` the `way` on is chosen. Only the first `lines` are poured; None
    is all of them. Readings come over the wire from a `connected` balance and are typed from any other.
    """

    by: Member
    balance: Balance
    connected: bool
    deviations: Mapping[str, Decimal]
    other_deviations: Sequence[Decimal]
    lines: int | None = None
    slip: Slip | None = None
    overpoured: str = ""
    way: Way = "keep-going"


def pour(*, batch: Batch, pouring: Pouring, days: Days, after: int = 0) -> None:
    """Pour the lines beyond position `after` in the order of the plan, each at its own minute, and log them."""
    rows = batch.lines.filter(position__gt=after).select_related("material", "lot")
    lines = list(rows.order_by("position", "id"))
    deviations = dict(pouring.deviations)
    others = cycle(pouring.other_deviations)
    hand = _Hand(batch, pouring, days)
    for line in lines[: pouring.lines]:
        name = line.name
        if pouring.slip is not None and pouring.slip.material == name:
            hand.slip(line, pouring.slip)
        hand.pour(line, line.target + (deviations.pop(name) if name in deviations else next(others)))
        if pouring.overpoured == name:
            hand.take_way_on(lines)
    hand.log()


def shown(mass: Decimal, balance: Balance) -> Decimal:
    """Rounded half-even to the step of the balance, which shows nothing finer, and never less than one step."""
    step = balance.readability
    return max((mass / step).quantize(Decimal(1), rounding=ROUND_HALF_EVEN), Decimal(1)) * step


class _Hand:
    """Pours for one batch; what was poured is logged together, before anything that looks at the log."""

    def __init__(self, batch: Batch, pouring: Pouring, days: Days) -> None:
        self.batch = batch
        self.pouring = pouring
        self.days = days
        self.poured: list[Reading] = []
        self.touched: set[int] = set()

    def pour(self, line: BatchLine, mass: Decimal, *, typed: bool = False) -> None:
        seen = shown(mass, self.pouring.balance)
        read = self.pouring.connected and not typed
        self.touched.add(line.position)
        self.poured.append(
            Reading(
                position=line.position,
                lot=line.lot.number,
                mass=seen,
                source=ReadingSource.BALANCE if read else ReadingSource.TYPED,
                reading=f"{figure(seen)} g" if read else "",
                at=self.days.work(MINUTES_A_POUR),
                confirmed=True,
            )
        )

    def log(self) -> list[Weighing]:
        readings, self.poured = self.poured, []
        return log_weighings(
            by=self.pouring.by,
            now=self.days.now,
            number=self.batch.number,
            readings=readings,
            balance=self.pouring.balance,
        )

    def slip(self, line: BatchLine, slip: Slip) -> None:
        """Log a wrong mass and strike it through."""
        self.pour(line, slip.mass, typed=True)
        wrong = self.log()[-1]
        strike_weighing(
            by=self.pouring.by,
            now=self.days.work(1),
            number=self.batch.number,
            weighing_id=wrong.id,
            why=slip.why,
        )

    def take_way_on(self, lines: Sequence[BatchLine]) -> None:
        """Choose the way on, top up what it asks to be topped up, and give the lines their new targets."""
        done = set(self.touched)
        self.log()
        _, chosen = choose_way_on(
            by=self.pouring.by, now=self.days.work(3), number=self.batch.number, way=self.pouring.way
        )
        outcomes = {int(outcome.key): outcome for outcome in chosen.lines}
        for line in lines:
            outcome = outcomes[line.position]
            if line.position in done and outcome.add > ZERO_MASS:
                self.pour(line, outcome.add)
            line.refresh_from_db(fields=["target"])
