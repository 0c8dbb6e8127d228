"""What happened to one lot: its movements, and how much it held after each of them."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Q

from inventory.models import Lot, Movement
from studio.kernel.mass import ZERO_MASS


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
    """The level of a lot over time, and its latest changes, newest first."""

    levels: list[Level]
    changes: list[Change]
    older: int


def past_of(lot: Lot, *, latest: int) -> Past:
    """Every level of a lot in the order the book was written, and its `latest` changes in full. Two statements.

    The time is that of the entry: an event entered late may lie before others that took from the lot already.
    """
    rows = list(
        Movement.objects.filter(Q(source=lot) | Q(target=lot))
        .order_by("id")
        .values_list("id", "recorded_at", "mass", "target_id")
    )
    held = ZERO_MASS
    levels: list[Level] = []
    after: dict[int, Decimal] = {}
    for movement, at, mass, target in rows:
        held += mass if target == lot.pk else -mass
        levels.append(Level(at, held))
        after[movement] = held
    wanted = [row[0] for row in rows[-latest:]]
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
    return Past(levels=levels, changes=changes, older=len(rows) - len(wanted))
