"""Batches as people look at them: in a list, at the bench with what was poured per line, and as a sealed record."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from batches.calc.overpour import OverpourOption, overpour_options
from batches.models import Batch, BatchLine, BatchState, RefusedReading, Weighing
from batches.models.pouring import allowed_band, lines_at_stake, overpour_lines, poured_per_line
from inventory.calc.weighing import judge_weighing
from inventory.calc.wording import figure, percent
from inventory.models import Lot
from inventory.models.places import traits_of
from inventory.queries.shelf import StandingClaim, claims_on
from studio.kernel.mass import ZERO_MASS
from studio.models import ScopedQuerySet, SealedRecord, Studio


@dataclass(frozen=True, slots=True)
class BenchLine:
    """A line of the weigh plan with what has been poured: grams, the allowed band, and the state in words."""

    line: BatchLine
    smallest: Decimal
    largest: Decimal
    weighed: Decimal
    deviation: Decimal
    state: str
    words: str
    remark: str


@dataclass(frozen=True, slots=True)
class BatchInHand:
    """A batch with its lines, and its claims that fall short because others poured more than they had reserved."""

    batch: Batch
    lines: list[BenchLine]
    short_claims: list[StandingClaim]

    @property
    def edition(self) -> int:
        return self.batch.edition


RARELY_MANY = ("material", "solvent", "parent", "balance")


def batches_listed(studio: Studio) -> ScopedQuerySet[Batch]:
    """All batches with the names that a list on a page shows; one statement."""
    return Batch.objects.of(studio).select_related("made", "by__person")


def batches_of(studio: Studio) -> ScopedQuerySet[Batch]:
    """All batches with everything that is said of one; five statements, whatever their number.

    Not one: a planner looks through the orders in which tables can be joined, and with ten of them that takes a hundred
    times as long as reading the rows.
    """
    return batches_listed(studio).select_related("version__formula").prefetch_related(*RARELY_MANY)


def batch_in_hand(*, studio: Studio, number: str) -> BatchInHand:
    """One batch with everything the bench shows; seven statements at most whatever its size, eight when a lot is overclaimed."""
    batch: Batch = batches_of(studio).one(studio, "batch", number=number)
    poured = poured_per_line(batch)
    lines = list(
        batch.lines.select_related("material", "lot", "lot__shelf", "formula_line", "cell").order_by(
            "position", "id"
        )
    )
    return BatchInHand(
        batch=batch,
        lines=[_bench_line(batch, line, poured.get(line.id, ZERO_MASS)) for line in lines],
        short_claims=_short_claims(batch, [line.lot for line in lines]),
    )


def weighings_of(*, studio: Studio, number: str) -> ScopedQuerySet[Weighing]:
    """Every weighing of a batch, struck ones included, in the order they were recorded."""
    batch: Batch = Batch.objects.one(studio, "batch", number=number)
    rows = batch.weighings.select_related("by__person", "struck_by__person").order_by("id")
    return rows.prefetch_related("line", "lot", "balance")


def refused_readings_of(*, studio: Studio, number: str) -> ScopedQuerySet[RefusedReading]:
    """What was refused at the bench of a batch, in the order it was noted."""
    return refused_at(Batch.objects.one(studio, "batch", number=number))


def refused_at(batch: Batch) -> ScopedQuerySet[RefusedReading]:
    """The same of a batch in hand; one statement."""
    rows = RefusedReading.objects.of(batch.studio_id).filter(batch=batch)
    return rows.select_related("by__person").order_by("id")


def ways_on(*, studio: Studio, number: str) -> tuple[OverpourOption, ...]:
    """The four ways on after an overpour, as things stand now."""
    batch: Batch = Batch.objects.select_related("balance").one(studio, "batch", number=number)
    lines = list(batch.lines.select_related("material", "lot").order_by("position", "id"))
    at_stake = lines_at_stake(batch, lines)
    return overpour_options(
        lines=overpour_lines(batch, lines, at_stake), tolerance=batch.tolerance, vessel=batch.vessel_capacity
    )


def sealed_record(*, studio: Studio, number: str) -> dict[str, Any]:
    """The newest sealed record of a batch with its seal, and the seals of those it amends."""
    rows = SealedRecord.objects.of(studio).filter(subject="batch", name=number).order_by("sequence")
    newest: SealedRecord = rows.reverse().one(studio, "sealed record of batch", name=number)
    return {
        "sequence": newest.sequence,
        "previous": newest.previous,
        "seal": newest.seal,
        "text": newest.text,
        "record": json.loads(newest.text)["record"],
    }


def _bench_line(batch: Batch, line: BatchLine, weighed: Decimal) -> BenchLine:
    smallest, largest = allowed_band(batch, line)
    state, words = _line_state(batch, line, weighed, smallest, largest)
    return BenchLine(
        line=line,
        smallest=smallest,
        largest=largest,
        weighed=weighed,
        deviation=weighed - line.target,
        state=state,
        words=words,
        remark=_remark(batch, line),
    )


def _remark(batch: Batch, line: BatchLine) -> str:
    """A warning where the target is more or less than the balance weighs well; empty where it is not."""
    if batch.balance is None:
        return ""
    judged = judge_weighing(traits=traits_of(batch.balance), net_mass=line.target, tolerance=batch.tolerance)
    return "" if judged.verdict == "good" else judged.sentence


def _line_state(
    batch: Batch, line: BatchLine, weighed: Decimal, smallest: Decimal, largest: Decimal
) -> tuple[str, str]:
    if line.left_out:
        return "left out", "its vial was left out"
    if weighed == 0:
        return "open", f"{figure(line.target)} g to pour"
    if weighed < smallest:
        return "begun", f"{figure(line.target - weighed)} g still to pour"
    if weighed > largest:
        return "over", f"{figure(weighed - line.target)} g over the target"
    return "done", f"within {percent(batch.tolerance)}"


def _short_claims(batch: Batch, lots: list[Lot]) -> list[StandingClaim]:
    """Its claims that fall short. Only lots with more spoken for than is there are asked: a wanted lot has many claims."""
    if batch.state not in (BatchState.RESERVED, BatchState.WEIGHING):
        return []
    over: Mapping[int, Lot] = {lot.id: lot for lot in lots if lot.reserved > lot.on_hand}
    return [
        standing
        for standing in claims_on(over.values())
        if standing.claim.purpose == batch.number and standing.short > 0
    ]
