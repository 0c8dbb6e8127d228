"""What happened to one lot: its movements, and how much it held after each of them."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Q, Subquery

from inventory.models import Lot, Movement
from studio.kernel.mass import ZERO_MASS

READ_BACK = 500
"""Movements of one lot that are read at most, the latest ones."""


@dataclass(frozen=True, slots=True)
class Level:
    """Grams that a lot held by the book from a time on."""

    at: datetime
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Change:
    """One movement as seen from the lot: grams with their sign, and what it held afterwards."""

    movement: Movement
    change: Decimal
    held_after: Decimal
    other: Lot | None


@dataclass(frozen=True, slots=True)
class Past:
    """The level of a lot over time, and its latest changes, newest first.

    `older` are those that could be told before these; `begins_later` says that the book goes back further still.
    """

    levels: list[Level]
    changes: list[Change]
    older: int
    begins_later: bool


def past_of(lot: Lot, *, latest: int) -> Past:
    """The latest levels of a lot in the order the book was written, and its `latest` changes in full. Two statements.

    Reckoned back from what the lot holds, so that a lot that was poured from a thousand times is read as fast as a new
    one. The time is that of the entry: an event entered late may lie before others that took from the lot already.
    """
    now = Lot.objects.filter(pk=lot.pk).values("on_hand")
    rows = list(
        Movement.objects.filter(Q(source=lot) | Q(target=lot))
        .annotate(holds=Subquery(now))
        .order_by("-id")
        .values_list("id", "recorded_at", "mass", "target_id", "holds")[: READ_BACK + 1]
    )
    held = rows[0][-1] if rows else ZERO_MASS
    levels: list[Level] = []
    after: dict[int, Decimal] = {}
    for movement, at, mass, target, _ in rows[:READ_BACK]:
        levels.append(Level(at, held))
        after[movement] = held
        held -= mass if target == lot.pk else -mass
    wanted = [row[0] for row in rows[: min(latest, READ_BACK)]]
    found = Movement.objects.select_related("source", "target", "by__person").filter(id__in=wanted)
    changes = [
        Change(
            movement=movement,
            change=movement.mass if movement.target_id == lot.pk else -movement.mass,
            held_after=after[movement.pk],
            other=movement.source if movement.target_id == lot.pk else movement.target,
        )
        for movement in found.order_by("-id")
    ]
    return Past(
        levels=levels[::-1],
        changes=changes,
        older=len(after) - len(wanted),
        begins_later=len(rows) > READ_BACK,
    )
