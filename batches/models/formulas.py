"""Formulas, their numbered versions and lines. A version that has been made is fixed for ever."""

from django.db import models
from django.db.models import Q

from studio.models import Scoped


class Formula(Scoped):
    """A named composition. Once adopted as a base it has a material of its own, which other formulas may use."""

    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    note = models.TextField(blank=True)
    base = models.OneToOneField(
        "inventory.Material", on_delete=models.PROTECT, null=True, related_name="base_formula"
    )
    adopted = models.ForeignKey(
        "batches.FormulaVersion", on_delete=models.PROTECT, null=True, related_name="+"
    )
    created_at = models.DateTimeField()
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "code"], name="formula_code_once"),
            models.CheckConstraint(
                condition=Q(base__isnull=True, adopted__isnull=True)
                | Q(base__isnull=False, adopted__isnull=False),
                name="formula_base_has_a_version",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FormulaVersion(Scoped):
    """One numbered state of a formula: free to edit until it is first made, then fixed."""

    formula = models.ForeignKey(Formula, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    note = models.TextField(blank=True)
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    fixed_at = models.DateTimeField(null=True)
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["formula", "number"], name="version_number_once")]

    def __str__(self) -> str:
        return f"{self.formula} {self.number}"


class FormulaLine(Scoped):
    """One ingredient as a perfumer writes it: a material, the dilution it is taken at, and parts by mass."""

    version = models.ForeignKey(FormulaVersion, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    material = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, related_name="+")
    strength = models.DecimalField(max_digits=10, decimal_places=9, default=1)
    solvent = models.ForeignKey("inventory.Material", on_delete=models.PROTECT, null=True, related_name="+")
    parts = models.DecimalField(max_digits=18, decimal_places=6)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "position"], name="line_position_once"),
            models.CheckConstraint(condition=Q(parts__gt=0), name="line_parts_positive"),
            models.CheckConstraint(
                condition=Q(strength__gt=0, strength__lte=1), name="line_strength_is_a_fraction"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material} {self.strength}: {self.parts}"
