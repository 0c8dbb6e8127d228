"""Pars: how much of a material, at a strength and in a solvent, the studio wants on the shelf."""

from django.db import models
from django.db.models import F, Q

from studio.kernel.mass_field import MassField
from studio.models import Scoped


class Par(Scoped):
    """Below `low` grams it is to be made or bought again, up to `full` grams."""

    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="pars")
    strength = models.DecimalField(max_digits=10, decimal_places=9, default=1)
    solvent = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    low = MassField()
    full = MassField()
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "material", "strength", "solvent"], name="par_once_in_solvent"
            ),
            models.UniqueConstraint(
                fields=["studio", "material", "strength"],
                condition=Q(solvent__isnull=True),
                name="par_once_without_solvent",
            ),
            models.CheckConstraint(
                condition=Q(strength__gt=0, strength__lte=1), name="par_strength_is_a_fraction"
            ),
            models.CheckConstraint(
                condition=Q(low__gte=0, full__gt=0, full__gte=F("low")), name="par_full_covers_low"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material} {self.strength}: {self.low} to {self.full} g"
