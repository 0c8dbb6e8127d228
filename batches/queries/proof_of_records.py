"""Proving that what is written of the weighings of a closed batch is what was sealed of them, struck ones included.

A struck entry may be struck once, later than it was written, so checkpoints do not cover who struck it and why; the
sealed record does.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from batches.models import Batch, BatchState, Weighing
from inventory.queries.proof import Finding
from studio.models import SealedRecord

BATCHES_AT_ONCE = 200
Entry = tuple[str, str, str | None, str | None]
"""Lot, mass, when it was struck, and why."""


def record_findings() -> Iterator[Finding]:
    """Every closed batch whose weighings are others than its first sealed record says."""
    after = 0
    while True:
        closed = Batch.objects.filter(state=BatchState.CLOSED, id__gt=after).order_by("id")
        batches = list(closed.values_list("id", "studio", "number")[:BATCHES_AT_ONCE])
        if not batches:
            return
        after = batches[-1][0]
        yield from _differing(batches)


def _differing(batches: Sequence[tuple[int, int, str]]) -> Iterator[Finding]:
    sealed = _sealed([number for _, _, number in batches])
    written = _written([key for key, _, _ in batches])
    for key, studio, number in batches:
        # A batch without a record is another proof's finding.
        if (studio, number) in sealed and sealed[studio, number] != written.get(key, []):
            yield Finding(studio, f"batch {number}", "has other weighings than its sealed record says")


def _sealed(numbers: Sequence[str]) -> dict[tuple[int, str], list[Entry]]:
    """What the first record of each batch says; nothing of one that cannot be read, which the chain tells."""
    rows = SealedRecord.objects.filter(subject="batch", amends=None, name__in=numbers).order_by("id")
    found: dict[tuple[int, str], list[Entry]] = {}
    for row in rows.iterator():
        try:
            lines: list[dict[str, Any]] = row.told()["record"]["lines"]
            entries = [_entry(one) for line in lines for one in line["weighings"]]
        except (ValueError, KeyError, TypeError):
            continue
        found.setdefault((row.studio_id, row.name), sorted(entries, key=repr))
    return found


def _entry(told: dict[str, Any]) -> Entry:
    return told["lot"], told["mass"], told["struck_at"], told["struck_because"]


def _written(batches: Sequence[int]) -> dict[int, list[Entry]]:
    rows = Weighing.objects.filter(batch__in=batches).order_by("id")
    found: dict[int, list[Entry]] = {}
    for batch, lot, mass, at, why in rows.values_list(
        "batch", "lot__number", "mass", "struck_at", "strike_reason"
    ).iterator():
        struck = at.isoformat().replace("+00:00", "Z") if at else None
        found.setdefault(batch, []).append((lot, str(mass), struck, why))
    return {batch: sorted(entries, key=repr) for batch, entries in found.items()}
