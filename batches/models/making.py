"""Batches, their lines and weighings.

`draft → reserved → weighing → closed`, or `void` from any state before closed. A stock is the same thing as a
composition with two lines, and a grid the same with many vials: there is one path.
"""

from typing import Self

from django.db import models
from django.db.models import Q

from studio.kernel.mass_field import MassField
from studio.models import Scoped, ScopedQuerySet


class BatchKind(models.TextChoices):
    STOCK = "stock"
    BASE = "base"
    BLEND = "blend"
    GRID = "grid"


class BatchState(models.TextChoices):
    DRAFT = "draft"
    RESERVED = "reserved"
    WEIGHING = "weighing"
    CLOSED = "closed"
    VOID = "void"


CLAIMING = (BatchState.RESERVED, BatchState.WEIGHING)
"""The states in which a batch holds claims."""


COST_DIGITS = 24
"""Holds whatever can be weighed of what costs most: millions of grams a pour, at up to a million a gram."""


class BatchQuerySet(ScopedQuerySet):
    def numbered(self, number: str) -> Self:
        return self.filter(number=number)


class Batch(Scoped):
    """One making: of a stock from a material, of a base or blend from a formula version, or of a grid of vials.

    What a grid makes stands with its cells; `made` is empty for it.
    """

    number = models.CharField(max_length=16)
    kind = models.CharField(max_length=10, choices=BatchKind)
    state = models.CharField(max_length=10, choices=BatchState, default=BatchState.DRAFT)
    title = models.CharField(max_length=160)
    version = models.ForeignKey(
        "batches.FormulaVersion", on_delete=models.PROTECT, null=True, related_name="batches"
    )
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    solvent = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    parent = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    mass = MassField(help_text="Total mass wanted.")
    strength = models.DecimalField(
        max_digits=10, decimal_places=9, null=True, help_text="Wanted; empty means as written."
    )
    solvent_bounds = models.JSONField(
        default=dict, help_text="Per solvent, the least and greatest share allowed."
    )
    vessel_capacity = MassField(null=True, help_text="What the vessel holds, in grams.")
    balance = models.ForeignKey("inventory.Balance", on_delete=models.PROTECT, null=True, related_name="+")
    tolerance = models.DecimalField(
        max_digits=10, decimal_places=9, help_text="Largest relative deviation of a weighing."
    )
    explanation = models.JSONField(default=dict, help_text="Why the weigh plan is as it is.")
    planned_on = models.DateField(null=True)
    note = models.TextField(blank=True)
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    reserved_at = models.DateTimeField(null=True)
    weighing_at = models.DateTimeField(null=True, help_text="First weighing.")
    ended_at = models.DateTimeField(null=True, help_text="Closed or voided.")
    ended_why = models.TextField(blank=True)
    made = models.OneToOneField("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    planned_cost = models.DecimalField(max_digits=COST_DIGITS, decimal_places=4, null=True)
    actual_cost = models.DecimalField(max_digits=COST_DIGITS, decimal_places=4, null=True)
    edition = models.PositiveIntegerField(default=1)

    objects = BatchQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "number"], name="batch_number_once"),
            models.CheckConstraint(condition=Q(mass__gt=0), name="batch_mass_positive"),
            models.CheckConstraint(condition=Q(state__in=BatchState.values), name="batch_state_known"),
            models.CheckConstraint(condition=Q(kind__in=BatchKind.values), name="batch_kind_known"),
            models.CheckConstraint(
                condition=Q(strength__isnull=True) | Q(strength__gt=0, strength__lte=1),
                name="batch_strength_is_a_fraction",
            ),
            models.CheckConstraint(
                condition=Q(kind=BatchKind.STOCK, material__isnull=False, strength__isnull=False)
                | Q(kind=BatchKind.GRID, version__isnull=True, material__isnull=True)
                | Q(kind__in=[BatchKind.BASE, BatchKind.BLEND], version__isnull=False),
                name="batch_says_what_it_makes",
            ),
            models.CheckConstraint(
                condition=Q(kind=BatchKind.GRID, made__isnull=True)
                | (~Q(kind=BatchKind.GRID) & Q(state=BatchState.CLOSED, made__isnull=False))
                | (~Q(kind=BatchKind.GRID) & ~Q(state=BatchState.CLOSED) & Q(made__isnull=True)),
                name="batch_closed_has_made_a_lot",
            ),
        ]
        indexes = [
            models.Index(fields=["studio", "state", "-id"], name="batches_by_state"),
            models.Index(
                fields=["studio", "-id"],
                condition=Q(state__in=[BatchState.DRAFT, *CLAIMING]),
                name="batches_in_hand",
            ),
            models.Index(fields=["studio", "-id"], name="batches_newest_first"),
            models.Index(
                fields=["studio", "planned_on"],
                condition=Q(ended_at__isnull=True),
                name="open_batches_by_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"


class BatchLine(Scoped):
    """One pour of the weigh plan: so much of that lot. A formula line may be served by several; of a grid each goes
    into the vial of one cell.
    """

    batch = models.ForeignKey(Batch, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    formula_line = models.ForeignKey(
        "batches.FormulaLine", on_delete=models.PROTECT, null=True, related_name="+"
    )
    cell = models.ForeignKey("batches.GridCell", on_delete=models.PROTECT, null=True, related_name="lines")
    material = models.ForeignKey(
        "inventory.Material",
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="None where a grid pours what is not of one material.",
    )
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    planned = MassField(help_text="Target when the batch was reserved.")
    target = MassField(help_text="Target now; an overpour elsewhere may have raised it.")
    pinned = models.BooleanField(default=False, help_text="Set by hand; a new plan keeps it.")
    expired_reason = models.TextField(blank=True, help_text="Why an expired lot is used all the same.")
    left_out = models.BooleanField(
        default=False, help_text="Its vial was left out; nothing more is poured of it."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["batch", "position"], name="batch_line_position_once"),
            models.CheckConstraint(
                condition=Q(target__gt=0, planned__gt=0), name="batch_line_target_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.target} g of lot {self.lot_id}"

    @property
    def name(self) -> str:
        """What is poured, in words: the material, or the lot's title where it is not of one material."""
        return self.material.name if self.material else self.lot.title


class ReadingSource(models.TextChoices):
    TYPED = "typed"
    BALANCE = "balance"


class LotTold(models.TextChoices):
    """How the lot in hand was told; nothing where a client did not say."""

    SCANNED = "scanned"
    TYPED = "typed"


class WeighingQuerySet(ScopedQuerySet):
    def standing(self) -> Self:
        """Weighings that were not struck through."""
        return self.filter(struck_at__isnull=True)


class Weighing(Scoped):
    """One logged actual amount. Append-only, but for being struck through once, with a reason."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="weighings")
    line = models.ForeignKey(BatchLine, on_delete=models.PROTECT, related_name="weighings")
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    mass = MassField(help_text="Net.")
    mass_u = MassField(null=True, help_text="Standard uncertainty of the net mass on this balance.")
    lot_revision = models.PositiveSmallIntegerField(
        help_text="Contents revision of the lot when it was poured."
    )
    lot_concentration = models.DecimalField(max_digits=16, decimal_places=12)
    balance = models.ForeignKey("inventory.Balance", on_delete=models.PROTECT, null=True, related_name="+")
    balance_check = models.ForeignKey(
        "inventory.BalanceCheck", on_delete=models.PROTECT, null=True, related_name="+"
    )
    source = models.CharField(max_length=10, choices=ReadingSource)
    reading = models.CharField(max_length=80, blank=True, help_text="The balance's line as it came.")
    lot_told = models.CharField(
        max_length=10, choices=LotTold, null=True, help_text="How the lot in hand was told."
    )
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    operation = models.CharField(max_length=80, null=True, help_text="Client's name for this one weighing.")
    expired_reason = models.TextField(blank=True, help_text="Why it was poured from a lot past its day.")
    struck_at = models.DateTimeField(null=True)
    struck_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    strike_reason = models.TextField(null=True)

    objects = WeighingQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(mass__gt=0), name="weighing_mass_positive"),
            models.CheckConstraint(
                condition=Q(source__in=ReadingSource.values), name="weighing_source_known"
            ),
            models.CheckConstraint(
                condition=Q(lot_told__isnull=True) | Q(lot_told__in=LotTold.values),
                name="weighing_lot_told_known",
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, strike_reason__isnull=True)
                | Q(struck_at__isnull=False, struck_by__isnull=False, strike_reason__isnull=False),
                name="weighing_struck_with_reason",
            ),
            models.UniqueConstraint(fields=["studio", "operation"], name="weighing_operation_once"),
        ]
        indexes = [models.Index(fields=["batch", "line"], name="weighings_of_batch")]

    def __str__(self) -> str:
        return f"{self.mass} g of lot {self.lot_id} in {self.batch_id}"
