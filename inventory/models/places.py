"""Shelves, where lots stand, and balances, on which they are weighed."""

from decimal import Decimal
from typing import Any

from django.db import models

from inventory.calc.weighing import BalanceTraits, smallest_net_weight
from studio.kernel.mass_field import MassField
from studio.models import Scoped


class Shelf(Scoped):
    """A place where lots stand."""

    name = models.CharField(max_length=80)
    note = models.TextField(blank=True)
    keeper = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["studio", "name"], name="shelf_name_once")]

    def __str__(self) -> str:
        return self.name


class AccuracyClass(models.TextChoices):
    """The accuracy classes of OIML R 76."""

    SPECIAL = "I"
    HIGH = "II"
    MEDIUM = "III"
    ORDINARY = "IIII"


class Balance(Scoped):
    """A balance and the figures that say how well it weighs."""

    name = models.CharField(max_length=80)
    serial = models.CharField(max_length=80, blank=True)
    capacity = MassField()
    readability = MassField(help_text="The smallest step it shows, d.")
    repeatability = MassField(help_text="Standard deviation of repeated weighings, s.")
    linearity = MassField(help_text="Bound of the deviation from linearity.")
    accuracy_class = models.CharField(max_length=4, choices=AccuracyClass, blank=True)
    verification_interval = MassField(null=True, help_text="The verification scale interval, e.")
    check_every_days = models.PositiveSmallIntegerField(default=7)
    retired_at = models.DateTimeField(null=True, blank=True)
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "name"], name="balance_name_once"),
            models.CheckConstraint(
                condition=models.Q(capacity__gt=0, readability__gt=0, repeatability__gte=0, linearity__gte=0),
                name="balance_figures_sensible",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def smallest_net_weight(self) -> Decimal:
        """Grams from which it weighs within the studio's tolerance."""
        return smallest_net_weight(traits_of(self), self.studio.weighing_tolerance)


class BalanceCheck(Scoped):
    """One weighing of a reference mass, and whether it lay within the bound. Append-only."""

    balance = models.ForeignKey(Balance, on_delete=models.PROTECT, related_name="checks")
    reference = MassField()
    reading = MassField()
    allowed_error = MassField()
    bound_source = models.CharField(max_length=200)
    passed = models.BooleanField()
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["balance", "-at", "-id"], name="checks_of_balance")]

    def __str__(self) -> str:
        return f"{self.balance}: {self.reading} g for {self.reference} g"


FIGURES = (
    "capacity",
    "readability",
    "repeatability",
    "linearity",
    "accuracy_class",
    "verification_interval",
)


def traits_of(balance: Balance, **changed: Any) -> BalanceTraits:
    """A balance's figures as the arithmetic takes them, some of them as they would be after a change."""
    figures = {field: changed.get(field, getattr(balance, field)) for field in FIGURES}
    return BalanceTraits(**{**figures, "accuracy_class": figures["accuracy_class"] or None})
