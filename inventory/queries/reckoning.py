"""What can be reckoned about a lot: its volume and how full its container is, and what its uncertainty comes from."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.calc.uncertainty import Contribution, Loss, Purity, Weighing
from inventory.calc.volume import Fill, VolumeEstimate, VolumePart, fill, volume_without_contraction
from inventory.calc.wording import figure, percent
from inventory.models import Lot, LotContent, Material, MaterialKind
from inventory.models.certainty import budget_of_lot
from studio.kernel.mass import nearest_mass

SHOWN_SOURCES = 8


@dataclass(frozen=True, slots=True)
class LotVolume:
    """Millilitres of what is on hand, and how full the container is where its size is known."""

    volume: VolumeEstimate
    fill: Fill | None


@dataclass(frozen=True, slots=True)
class UncertaintySource:
    """One source of uncertainty in words, what it adds to the strength, and its share of the variance."""

    words: str
    standard_uncertainty: Decimal
    share: Decimal


@dataclass(frozen=True, slots=True)
class Certainty:
    """The strength of a lot with its standard uncertainty, and the sources that matter most to it."""

    lot: str
    strength: Decimal | None
    standard_uncertainty: Decimal
    relative: Decimal | None
    sources: list[UncertaintySource]


def volume_of(lot: Lot) -> LotVolume:
    """Volume at 20 °C, volumes added without contraction. One statement.

    Raises `DensityUnknown` naming the materials without a density, `BadVolume` for an empty lot.
    """
    rows = LotContent.objects.filter(lot=lot, revision=lot.contents_revision).select_related("material")
    volume = volume_without_contraction(
        [
            VolumePart(
                name=row.material.name,
                mass=nearest_mass(row.fraction * lot.on_hand),
                density_g_ml=row.material.density_g_ml,
            )
            for row in rows.order_by("id")
        ]
    )
    if lot.capacity_ml is None:
        return LotVolume(volume=volume, fill=None)
    return LotVolume(volume=volume, fill=fill(volume_ml=volume.volume_ml, nominal_ml=lot.capacity_ml))


def certainty_of(lot: Lot) -> Certainty:
    """Where the uncertainty of a lot's strength comes from, the whole ancestry considered. Six statements."""
    budget = budget_of_lot(lot.id, lot.contents_revision)
    declared = _strength_materials(lot, budget.materials)
    uncertainty = budget.of_sum(declared)
    contributions = budget.largest(declared, SHOWN_SOURCES)
    strength = lot.actual_strength
    return Certainty(
        lot=lot.number,
        strength=strength,
        standard_uncertainty=uncertainty,
        relative=(uncertainty / strength).quantize(Decimal("1e-9")) if strength else None,
        sources=_in_words(contributions),
    )


def _strength_materials(lot: Lot, materials: Sequence[int]) -> set[int]:
    if lot.material is not None and lot.material.kind != MaterialKind.BASE:
        return {lot.material.id}
    odorants = Material.objects.filter(id__in=materials).exclude(kind=MaterialKind.SOLVENT)
    return set(odorants.values_list("id", flat=True))


def _in_words(contributions: Sequence[Contribution]) -> list[UncertaintySource]:
    lots: set[int] = set()
    materials: set[int] = set()
    for one in contributions:
        if isinstance(one.source, Weighing):
            lots |= {one.source.source, one.source.target}
        else:
            lots.add(one.source.lot)
        if isinstance(one.source, Purity):
            materials.add(one.source.material)
    titles = {lot.id: f"{lot.title} ({lot.number})" for lot in Lot.objects.filter(id__in=lots)}
    names = dict(Material.objects.filter(id__in=materials).values_list("id", "name"))
    return [
        UncertaintySource(_words(one, titles, names), one.standard_uncertainty, one.share)
        for one in contributions
    ]


def _words(one: Contribution, titles: dict[int, str], names: dict[int, str]) -> str:
    source = one.source
    if isinstance(source, Weighing):
        return (
            f"weighing {figure(source.mass)} g of {titles[source.source]} into {titles[source.target]}, "
            f"to ± {figure(source.standard_uncertainty)} g"
        )
    if isinstance(source, Loss):
        return f"loss of solvent from {titles[source.lot]}"
    return f"purity of {names[source.material]} in {titles[source.lot]}, to ± {percent(source.standard_uncertainty)}"
