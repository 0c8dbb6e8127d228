"""Suppliers, what they offer, and what is to be bought of them."""

from typing import Self

from django.db import models
from django.db.models import Q

from studio.kernel.mass_field import MassField
from studio.models import Scoped, ScopedQuerySet


class Supplier(Scoped):
    """Somebody bottles are bought from, and how many days a delivery usually takes."""

    name = models.CharField(max_length=120)
    delivery_days = models.PositiveSmallIntegerField(default=7)
    note = models.TextField(blank=True)
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["studio", "name"], name="supplier_name_once")]

    def __str__(self) -> str:
        return self.name


class Offer(Scoped):
    """A pack of a material, and its price when at least `from_packs` of it are bought at once."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="offers")
    strength = models.DecimalField(max_digits=10, decimal_places=9, default=1)
    solvent = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    pack = MassField(help_text="Net grams of one pack.")
    from_packs = models.PositiveSmallIntegerField(default=1)
    price = models.DecimalField(max_digits=12, decimal_places=4, help_text="Of one pack.")
    delivery_days = models.PositiveSmallIntegerField(null=True, help_text="Empty: the supplier's.")
    article = models.CharField(max_length=80, blank=True)
    withdrawn_at = models.DateTimeField(null=True)
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "material", "strength", "solvent", "pack", "from_packs"],
                condition=Q(withdrawn_at__isnull=True),
                name="offer_once_in_solvent",
            ),
            models.UniqueConstraint(
                fields=["supplier", "material", "strength", "pack", "from_packs"],
                condition=Q(withdrawn_at__isnull=True, solvent__isnull=True),
                name="offer_once_without_solvent",
            ),
            models.CheckConstraint(
                condition=Q(pack__gt=0, from_packs__gte=1, price__gte=0), name="offer_figures_sensible"
            ),
            models.CheckConstraint(
                condition=Q(strength__gt=0, strength__lte=1), name="offer_strength_is_a_fraction"
            ),
        ]
        indexes = [models.Index(fields=["studio", "material"], name="offers_of_material")]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.pack} g of {self.material}"


class PurchaseState(models.TextChoices):
    TO_ORDER = "to order"
    ORDERED = "ordered"
    ARRIVED = "arrived"
    DROPPED = "dropped"


ON_THEIR_WAY = (PurchaseState.TO_ORDER, PurchaseState.ORDERED)
"""The states in which a purchase counts as coming."""


class PurchaseQuerySet(ScopedQuerySet):
    def coming(self) -> Self:
        """Purchases that have neither arrived nor been dropped."""
        return self.filter(state__in=ON_THEIR_WAY)


class Purchase(Scoped):
    """So many packs of an offer, from the moment it is decided until it stands on the shelf."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="purchases")
    packs = models.PositiveSmallIntegerField()
    mass = MassField(help_text="Net grams of all packs.")
    price = models.DecimalField(max_digits=14, decimal_places=4, help_text="Of all packs.")
    order_on = models.DateField(help_text="When it has to be ordered.")
    due_on = models.DateField(help_text="When it is to be there.")
    state = models.CharField(max_length=10, choices=PurchaseState, default=PurchaseState.TO_ORDER)
    note = models.TextField(blank=True)
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    ordered_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True, help_text="Arrived or dropped.")
    arrived_as = models.JSONField(default=list, help_text="Numbers of the bottles it arrived as.")
    operation = models.CharField(max_length=80, null=True, help_text="Names what must never be done twice.")
    edition = models.PositiveIntegerField(default=1)

    objects = PurchaseQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(packs__gte=1, mass__gt=0, price__gte=0), name="purchase_figures_sensible"
            ),
            models.CheckConstraint(condition=Q(state__in=PurchaseState.values), name="purchase_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=ON_THEIR_WAY, ended_at__isnull=True)
                | (~Q(state__in=ON_THEIR_WAY) & Q(ended_at__isnull=False)),
                name="purchase_ends_when_it_says",
            ),
            models.UniqueConstraint(fields=["studio", "operation"], name="purchase_operation_once"),
        ]
        indexes = [
            models.Index(
                fields=["studio", "due_on"], condition=Q(ended_at__isnull=True), name="purchases_coming"
            )
        ]

    def __str__(self) -> str:
        return f"{self.packs} × {self.offer}"
