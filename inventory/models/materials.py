"""Materials: the kinds of thing a lot can be of, and what is known of them before any bottle is opened."""

from django.db import models

from studio.kernel.mass_field import MassField
from studio.models import Scoped


class MaterialKind(models.TextChoices):
    ODORANT = "odorant"
    SOLVENT = "solvent"
    BASE = "base"


class Material(Scoped):
    """A substance or bought-in composition, a solvent, or an own composition adopted for use as a material."""

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=MaterialKind, default=MaterialKind.ODORANT)
    cas = models.CharField(max_length=12, blank=True)
    synonyms = models.CharField(max_length=300, blank=True)
    density_g_ml = models.DecimalField(
        max_digits=8, decimal_places=6, null=True, blank=True, help_text="At 20 °C."
    )
    flash_point_c = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    hazards = models.JSONField(default=list, help_text="Hazard statement codes from the data sheet.")
    shelf_life_days = models.PositiveIntegerField(null=True, blank=True, help_text="Unopened, as received.")
    stock_shelf_life_days = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of what is made with it."
    )
    making_days = models.PositiveSmallIntegerField(
        default=0, help_text="From weighing a stock of it to its label."
    )
    resting_days = models.PositiveSmallIntegerField(
        default=0, help_text="That a stock of it dissolves or matures before it is used."
    )
    largest_stock = MassField(null=True, help_text="What the container of its stocks takes, in grams.")
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "name"], name="material_name_once"),
            models.CheckConstraint(
                condition=models.Q(kind__in=MaterialKind.values), name="material_kind_known"
            ),
            models.CheckConstraint(
                condition=models.Q(density_g_ml__isnull=True) | models.Q(density_g_ml__gt=0),
                name="material_density_positive",
            ),
        ]
        indexes = [models.Index(fields=["studio", "cas"], name="material_cas")]

    def __str__(self) -> str:
        return self.name


class Solubility(Scoped):
    """The largest mass fraction of a solid that dissolves in a solvent at room temperature."""

    material = models.ForeignKey(Material, on_delete=models.CASCADE, related_name="solubilities")
    solvent = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    limit = models.DecimalField(max_digits=10, decimal_places=9)
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["material", "solvent"], name="solubility_once"),
            models.CheckConstraint(
                condition=models.Q(limit__gt=0, limit__lte=1), name="solubility_is_a_fraction"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.material} in {self.solvent}: {self.limit}"
