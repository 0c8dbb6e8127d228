"""Volumes from masses, and whether they fit the vial.

A volume is mass over density at 20 °C, and the volumes of parts are added as if nothing contracted on
mixing. That is an estimate and every result says so; only ethanol with water has a published formula that
knows its contraction (`inventory.calc.ethanol_water`), and its density can be given here for the mixture.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext

from inventory.calc.wording import figure, listed, percent, readable
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import nearest_fraction, nearest_mass

MICROLITRE_ML = Decimal("0.001")
FULLEST_FRACTION = Decimal("0.90")
"""Share of the nominal volume beyond which a vial or bottle warns: room for warming and for the dropper."""
DENSEST_G_ML = Decimal(25)
"""No liquid or solid is denser, so a larger figure was given in kg/m³."""
WITHOUT_CONTRACTION = "Volumes at 20 °C, added without contraction on mixing."


class BadVolume(Invalid):
    """A volume, density or nominal volume that nothing can have."""

    code = "bad-volume"
    title = "Not a usable volume or density"


class DensityUnknown(Invalid):
    """A volume was asked for, and the density of a part is not known."""

    code = "density-unknown"
    title = "A density is missing"


@dataclass(frozen=True, slots=True)
class VolumePart:
    """Some grams of one thing, with its density in g/mL at 20 °C where that is known."""

    name: str
    mass: Decimal
    density_g_ml: Decimal | None


@dataclass(frozen=True, slots=True)
class VolumeEstimate:
    """Volume at 20 °C in mL (to the microlitre), the density it implies (6 places), and how it was reached."""

    volume_ml: Decimal
    density_g_ml: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class Fill:
    """How full a vial or bottle gets: fraction of its nominal volume, and a warning beyond 90 %."""

    volume_ml: Decimal
    nominal_ml: Decimal
    fraction: Decimal
    too_full: bool
    sentence: str


def volume_of_mass(mass: Decimal, *, density_g_ml: Decimal) -> Decimal:
    """Millilitres, rounded to the microlitre, that `mass` grams take at 20 °C."""
    _check(mass, "A mass")
    check_density(density_g_ml)
    with localcontext(Context(prec=28, rounding=ROUND_HALF_EVEN)):
        return nearest_microlitre(mass / density_g_ml)


def mass_of_volume(volume_ml: Decimal, *, density_g_ml: Decimal) -> Decimal:
    """Grams, rounded to the microgram, of `volume_ml` at 20 °C."""
    _check(volume_ml, "A volume")
    check_density(density_g_ml)
    return nearest_mass(volume_ml * density_g_ml)


def volume_without_contraction(parts: Sequence[VolumePart]) -> VolumeEstimate:
    """The sum of the parts' own volumes, each mass over density at 20 °C; rounded once, at the end.

    Raises `DensityUnknown` naming every part without a density, `BadVolume` for impossible figures or no
    parts at all.
    """
    if not parts or all(part.mass == 0 for part in parts):
        raise BadVolume("There is nothing to take the volume of; give at least one part with a mass.")
    unknown = [part.name for part in parts if part.density_g_ml is None and part.mass != 0]
    if unknown:
        raise DensityUnknown(
            f"No density is known for {listed(unknown)}; take it from the bottle's paper and enter it.",
            parts=unknown,
        )
    faults = Faults()
    for place, part in enumerate(parts):
        _gather(faults, f"parts.{place}", part)
    if faults:
        raise BadVolume(next(iter(faults.errors.values()))[0], errors=faults.errors)
    total_mass = sum((part.mass for part in parts), Decimal(0))
    with localcontext(Context(prec=28, rounding=ROUND_HALF_EVEN)):
        volume = sum((part.mass / part.density_g_ml for part in parts if part.density_g_ml), Decimal(0))
        density = total_mass / volume
    return VolumeEstimate(
        volume_ml=nearest_microlitre(volume),
        density_g_ml=nearest_density(density),
        sentence=f"{figure(total_mass)} g make about {readable(volume)} mL. {WITHOUT_CONTRACTION}",
    )


def fill(*, volume_ml: Decimal, nominal_ml: Decimal) -> Fill:
    """How much of a vial's nominal volume is taken; `too_full` strictly beyond 90 %."""
    _check(volume_ml, "A volume")
    if not (nominal_ml.is_finite() and nominal_ml > 0):
        raise BadVolume(f"A nominal volume must be more than 0 mL, not {nominal_ml}.")
    with localcontext(Context(prec=28, rounding=ROUND_HALF_EVEN)):
        fraction = volume_ml / nominal_ml
    too_full = volume_ml > FULLEST_FRACTION * nominal_ml
    state = f"{readable(volume_ml)} mL fill {percent(fraction)} of {figure(nominal_ml)} mL"
    overflow = " It does not fit at all." if volume_ml > nominal_ml else ""
    advice = (
        f"; beyond {percent(FULLEST_FRACTION)} there is no room to warm up or to take a dropper.{overflow}"
        f" Take a larger one or at most {readable(FULLEST_FRACTION * nominal_ml)} mL."
    )
    return Fill(
        volume_ml, nominal_ml, nearest_fraction(fraction), too_full, state + (advice if too_full else ".")
    )


def nearest_microlitre(volume_ml: Decimal) -> Decimal:
    """Half-even to the microlitre: finer than any density on a bottle's paper supports."""
    return volume_ml.quantize(MICROLITRE_ML, rounding=ROUND_HALF_EVEN)


def nearest_density(density_g_ml: Decimal) -> Decimal:
    """Half-even to six places of g/mL, as densities are tabulated."""
    return density_g_ml.quantize(Decimal("0.000001"), rounding=ROUND_HALF_EVEN)


def check_density(density_g_ml: Decimal) -> None:
    """Refuse, as `BadVolume`, a density that is not a positive number of g/mL."""
    sentence = _density_fault(density_g_ml)
    if sentence:
        raise BadVolume(sentence)


def _density_fault(density_g_ml: Decimal) -> str:
    if not (density_g_ml.is_finite() and density_g_ml > 0):
        return f"A density must be more than 0 g/mL, not {density_g_ml}."
    if density_g_ml > DENSEST_G_ML:
        return (
            f"A density of {figure(density_g_ml)} g/mL is too large; was it meant in kg/m³? Divide by 1000."
        )
    return ""


def _gather(faults: Faults, field: str, part: VolumePart) -> None:
    if not (part.mass.is_finite() and part.mass >= 0):
        faults.add(f"{field}.mass", f"The mass of {part.name} cannot be {figure(part.mass)} g.")
    sentence = _density_fault(part.density_g_ml) if part.density_g_ml is not None else ""
    if sentence:
        faults.add(f"{field}.density_g_ml", f"{part.name}: {sentence}")


def _check(value: Decimal, what: str) -> None:
    if not (value.is_finite() and value >= 0):
        raise BadVolume(f"{what} cannot be {value}; give a number from 0 up.")
