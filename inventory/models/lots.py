"""Lots: identified amounts in one container each, and what they contain.

`on_hand` and `reserved` repeat what the ledger and the open claims add up to; only the ledger writes them, in the
transaction of the movement or claim. A lot's contents are kept per revision: evaporation starts a new one, and what
was made before keeps pointing at the old.
"""

from decimal import Decimal
from typing import Self

from django.db import models
from django.db.models import Q

from studio.kernel.mass import ZERO_MASS
from studio.kernel.mass_field import MassField
from studio.models import Member, Role, Scoped, ScopedQuerySet


class LotKind(models.TextChoices):
    BOTTLE = "bottle"
    STOCK = "stock"
    BASE = "base"
    BLEND = "blend"
    VIAL = "vial"


class LotQuerySet(ScopedQuerySet):
    def open(self) -> Self:
        """Lots that still hold something."""
        return self.filter(emptied_at__isnull=True)

    def numbered(self, number: str) -> Self:
        return self.filter(number=number)


class Lot(Scoped):
    """An identified amount of liquid or solid in one container."""

    number = models.CharField(max_length=16)
    kind = models.CharField(max_length=10, choices=LotKind)
    title = models.CharField(max_length=160)
    material = models.ForeignKey(
        "inventory.Material", on_delete=models.PROTECT, null=True, related_name="lots"
    )
    solvent = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    declared_strength = models.DecimalField(max_digits=10, decimal_places=9, null=True)
    actual_strength = models.DecimalField(max_digits=10, decimal_places=9, null=True)
    strength_u = models.DecimalField(max_digits=13, decimal_places=12, null=True)
    contents_revision = models.PositiveSmallIntegerField(default=0)
    concentration = models.DecimalField(
        max_digits=16,
        decimal_places=12,
        default=1,
        help_text="Mass when made over what is left of it after solvent evaporated.",
    )

    on_hand = MassField(default=0)
    reserved = MassField(default=0)
    made_mass = MassField(default=0, help_text="Mass that first filled the container.")
    tare = MassField(null=True, help_text="Mass of the empty container with its closure.")
    capacity_ml = models.DecimalField(max_digits=9, decimal_places=3, null=True)

    shelf = models.ForeignKey("inventory.Shelf", on_delete=models.PROTECT, null=True, related_name="lots")
    keeper = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    ask_above = MassField(
        null=True,
        help_text="Grams beyond which others ask the keeper before they claim or draw off; none: never.",
    )
    supplier = models.CharField(max_length=120, blank=True)
    supplier_lot = models.CharField(max_length=80, blank=True)
    purity = models.DecimalField(max_digits=10, decimal_places=9, null=True)
    cost_per_gram = models.DecimalField(
        max_digits=20, decimal_places=9, null=True, help_text="What evaporates leaves its cost to the rest."
    )
    made_in = models.CharField(max_length=20, blank=True, help_text="Number of the batch it was made in.")

    made_at = models.DateTimeField(help_text="When it was received or made.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    expires_on = models.DateField(null=True)
    opened_at = models.DateTimeField(null=True)
    emptied_at = models.DateTimeField(null=True)
    held_at = models.DateTimeField(null=True)
    hold_reason = models.TextField(blank=True)
    note = models.TextField(blank=True)
    edition = models.PositiveIntegerField(default=1)

    objects = LotQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "number"], name="lot_number_once"),
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="lot_on_hand_not_negative"),
            models.CheckConstraint(condition=Q(reserved__gte=0), name="lot_reserved_not_negative"),
            models.CheckConstraint(condition=Q(kind__in=LotKind.values), name="lot_kind_known"),
            models.CheckConstraint(condition=Q(concentration__gte=1), name="lot_concentration_at_least_one"),
            models.CheckConstraint(
                condition=Q(declared_strength__isnull=True)
                | Q(declared_strength__gt=0, declared_strength__lte=1),
                name="lot_declared_strength_is_a_fraction",
            ),
            models.CheckConstraint(
                condition=Q(ask_above__isnull=True) | Q(keeper__isnull=False, ask_above__gte=0),
                name="lot_asks_above_for_a_keeper",
            ),
            models.CheckConstraint(
                condition=Q(held_at__isnull=True) | ~Q(hold_reason=""), name="lot_hold_has_a_reason"
            ),
        ]
        indexes = [
            models.Index(
                fields=["studio", "material"],
                condition=Q(emptied_at__isnull=True),
                name="open_lots_of_material",
            ),
            models.Index(
                fields=["studio", "expires_on", "id"],
                condition=Q(emptied_at__isnull=True),
                name="open_lots_by_expiry",
            ),
            models.Index(
                fields=["studio", "title", "id"],
                condition=Q(emptied_at__isnull=True),
                name="open_lots_by_title",
            ),
            models.Index(fields=["studio", "-id"], name="lots_newest_first"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    @property
    def available(self) -> Decimal:
        """Grams a new claim may take: on hand less what is reserved, never below zero."""
        return max(self.on_hand - self.reserved, ZERO_MASS)

    def is_decided_by(self, member: Member) -> bool:
        """Whether a member decides about it: its keeper, an owner for one who left, everybody for the studio's."""
        if self.keeper_id is None or self.keeper_id == member.pk:
            return True
        return member.role == Role.OWNER and self.keeper is not None and self.keeper.left_at is not None


class LotContent(Scoped):
    """The mass fraction of one leaf material in one revision of a lot. Append-only."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="contents")
    revision = models.PositiveSmallIntegerField()
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    fraction = models.DecimalField(max_digits=10, decimal_places=9)
    uncertainty = models.DecimalField(max_digits=13, decimal_places=12, null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "revision", "material"], name="content_once"),
            models.CheckConstraint(
                condition=Q(fraction__gte=0, fraction__lte=1), name="content_is_a_fraction"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fraction} of material {self.material_id} in lot {self.lot_id}"
