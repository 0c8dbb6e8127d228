"""The vials of a grid: a batch of kind grid makes one vial of each cell that was not left out.

A cell is one vial to be filled: a lot of side A and one of side B at a ratio, or, for a control, one lot and solvent. Its
pours are lines of the batch, so a weighing belongs to a cell by its line. A vial that went wrong is made anew as the
next attempt at its place: the earlier attempt stays, left out with a reason, and what went into it is discarded.
"""

from typing import Self

from django.db import models
from django.db.models import Q

from inventory.calc.wording import figure
from inventory.models import Lot
from studio.kernel.mass_field import MassField
from studio.models import Scoped, ScopedQuerySet

SHORT_TITLE = 60


class GridCellQuerySet(ScopedQuerySet):
    def standing(self) -> Self:
        """Cells that are, or are to become, a vial."""
        return self.filter(left_out_at__isnull=True)


class GridCell(Scoped):
    """One attempt at one vial of a grid."""

    batch = models.ForeignKey("batches.Batch", on_delete=models.PROTECT, related_name="cells")
    number = models.PositiveSmallIntegerField(help_text="Place in the grid, from 1.")
    attempt = models.PositiveSmallIntegerField(default=1)
    lot_a = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    lot_b = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    part_a = models.DecimalField(max_digits=13, decimal_places=6, null=True)
    part_b = models.DecimalField(max_digits=13, decimal_places=6, null=True)
    mass = MassField(help_text="Wanted in the vial.")
    made = models.OneToOneField("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    left_out_at = models.DateTimeField(null=True)
    left_out_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    left_out_why = models.TextField(blank=True)

    objects = GridCellQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["batch", "number", "attempt"], name="grid_attempt_once"),
            models.UniqueConstraint(
                fields=["batch", "number"],
                condition=Q(left_out_at__isnull=True),
                name="grid_cell_stands_once",
            ),
            models.CheckConstraint(condition=Q(mass__gt=0), name="grid_cell_mass_positive"),
            models.CheckConstraint(
                condition=Q(lot_a__isnull=False, lot_b__isnull=False, part_a__gt=0, part_b__gt=0)
                | Q(lot_a__isnull=False, lot_b__isnull=True, part_a__isnull=True, part_b__isnull=True)
                | Q(lot_a__isnull=True, lot_b__isnull=False, part_a__isnull=True, part_b__isnull=True),
                name="grid_cell_crosses_or_controls",
            ),
            models.CheckConstraint(
                condition=Q(left_out_at__isnull=True, left_out_by__isnull=True, left_out_why="")
                | (
                    Q(left_out_at__isnull=False, left_out_by__isnull=False, made__isnull=True)
                    & ~Q(left_out_why="")
                ),
                name="grid_cell_left_out_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Vial {self.number}" + (f", attempt {self.attempt}" if self.attempt > 1 else "")

    @property
    def title(self) -> str:
        """What its vial is called: the two lots with their ratio, or the lot that is alone in it."""
        if self.lot_a and self.lot_b:
            return f"{self}: {_short(self.lot_a)} {self.ratio} {_short(self.lot_b)}"
        alone = self.lot_a or self.lot_b
        return f"{self}: {_short(alone)} alone" if alone else str(self)

    @property
    def ratio(self) -> str:
        """Side A to side B, as people write it; empty for a control."""
        if self.part_a is None or self.part_b is None:
            return ""
        return f"{figure(self.part_a)}:{figure(self.part_b)}"

    @property
    def is_control(self) -> bool:
        """Whether it holds one lot alone, let down to the strength it has in the grid."""
        return self.part_a is None


def _short(lot: Lot) -> str:
    return lot.title if len(lot.title) <= SHORT_TITLE else f"{lot.title[: SHORT_TITLE - 1]}…"
