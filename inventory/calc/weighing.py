"""What a balance can be trusted with: how uncertain a net mass is, how small a mass it weighs well, whether
it passed its check, and how far air lifts what lies on it.

Everything is worked in exact decimals; a square root is the one step that cannot be exact and carries
`ROOT_DIGITS` significant digits. Two readings make a net mass (container before, container after), so the
rounding of the display and the bound on linearity enter twice: d/√12 belongs to one reading, d/√6 to two.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Context, Decimal, localcontext
from typing import Literal, get_args

from inventory.calc.wording import figure, percent, readable
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import MICROGRAM

AccuracyClass = Literal["I", "II", "III", "IIII"]

ROOT_DIGITS = 28
REPEATABILITY_FLOOR = Decimal("0.41")
"""Share of the readability below which a repeatability is not believed: rounding alone makes d/√6 = 0.41 d."""
SMALLEST_WEIGHT_COVERAGE = Decimal(2)
AIR_DENSITY_G_ML = Decimal("0.0012")
WEIGHT_DENSITY_G_ML = Decimal("8.0")
"""Conventional densities of air and of reference weights (OIML D 28)."""

_ERROR_STEPS: dict[AccuracyClass, tuple[tuple[int | None, Decimal], ...]] = {
    "I": ((50_000, Decimal("0.5")), (200_000, Decimal(1)), (None, Decimal("1.5"))),
    "II": ((5_000, Decimal("0.5")), (20_000, Decimal(1)), (100_000, Decimal("1.5"))),
    "III": ((500, Decimal("0.5")), (2_000, Decimal(1)), (10_000, Decimal("1.5"))),
    "IIII": ((50, Decimal("0.5")), (200, Decimal(1)), (1_000, Decimal("1.5"))),
}


class BadBalance(Invalid):
    """The traits of a balance contradict themselves or are no numbers."""

    code = "bad-balance"
    title = "These balance data cannot be right"


class BadTolerance(Invalid):
    """A relative tolerance outside 0 to 1."""

    code = "bad-tolerance"
    title = "Not a usable tolerance"


class BadWeighing(Invalid):
    """A mass, reading or density that no weighing can have."""

    code = "bad-weighing"
    title = "Not a usable weighing"


class BeyondClass(Invalid):
    """A load with more verification intervals than the accuracy class goes up to."""

    code = "beyond-accuracy-class"
    title = "The load is beyond the accuracy class"


class NoBoundForCheck(Invalid):
    """A check weighing cannot be judged: neither a bound nor accuracy class and interval are known."""

    code = "no-bound-for-check"
    title = "Nothing to judge the check weighing by"


@dataclass(frozen=True, slots=True)
class BalanceTraits:
    """A balance as its plate and its papers describe it; all quantities in grams.

    `readability` is the step *d* of the display, `repeatability` the standard deviation *s* of repeated
    weighings, `linearity` the largest deviation *l* over the range (± l). `accuracy_class` and
    `verification_interval` (*e*) are those of OIML R 76, both None for a balance that was never verified.
    Raises `BadBalance` with every contradiction at once.
    """

    capacity: Decimal
    readability: Decimal
    repeatability: Decimal
    linearity: Decimal
    accuracy_class: AccuracyClass | None = None
    verification_interval: Decimal | None = None

    def __post_init__(self) -> None:
        faults = Faults()
        for field in ("capacity", "readability"):
            if not _is_positive(getattr(self, field)):
                faults.add(field, f"The {field} must be more than 0 g, not {getattr(self, field)}.")
        for field in ("repeatability", "linearity"):
            value = getattr(self, field)
            if not (_is_finite(value) and value >= 0):
                faults.add(field, f"The {field} cannot be below 0 g; it is given as {value}.")
        if not faults and self.readability >= self.capacity:
            faults.add(
                "readability",
                f"The readability ({figure(self.readability)} g) must be finer than the capacity "
                f"({figure(self.capacity)} g).",
            )
        self._check_class(faults)
        if faults:
            raise BadBalance(next(iter(faults.errors.values()))[0], errors=faults.errors)

    def _check_class(self, faults: Faults) -> None:
        if self.accuracy_class is not None and self.accuracy_class not in get_args(AccuracyClass):
            faults.add(
                "accuracy_class",
                f"The accuracy class is I, II, III or IIII, as on the plate, not {self.accuracy_class}.",
            )
        interval = self.verification_interval
        if interval is None:
            return
        if not _is_positive(interval):
            faults.add(
                "verification_interval", f"The verification interval must be more than 0 g, not {interval}."
            )
        elif not faults and interval < self.readability:
            faults.add(
                "verification_interval",
                f"The verification interval e ({figure(interval)} g) cannot be finer than the readability "
                f"d ({figure(self.readability)} g).",
            )


@dataclass(frozen=True, slots=True)
class CheckWeighing:
    """A reading of a reference mass, judged. Masses in grams; `deviation` is reading − reference.

    `bound_source` says whose bound it is, `bound_origin` in a sentence how it came about. `remarks` are
    doubts that do not change the verdict but that the person should see.
    """

    reference_mass: Decimal
    reading: Decimal
    deviation: Decimal
    bound: Decimal
    bound_source: Literal["studio", "oiml"]
    bound_origin: str
    passed: bool
    remarks: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class WeighingJudgement:
    """Whether a net mass can be weighed well on a balance, with the numbers and a sentence.

    `relative_uncertainty` is the standard uncertainty of the net mass divided by it.
    """

    net_mass: Decimal
    smallest: Decimal
    verdict: Literal["good", "too-small", "over-capacity"]
    relative_uncertainty: Decimal
    sentence: str

    @property
    def good(self) -> bool:
        return self.verdict == "good"


def rectangular(half_width: Decimal) -> Decimal:
    """Standard uncertainty a/√3 of a value known only to lie within ± a (GUM 4.3.7), `ROOT_DIGITS` digits."""
    _require(half_width >= 0, "A half-width cannot be below zero", half_width)
    return root_sum_of_squares([half_width], divide_by=3)


def root_sum_of_squares(parts: Iterable[Decimal], *, divide_by: int = 1) -> Decimal:
    """√(Σ part² / divide_by): independent contributions combined (GUM eq. 10), `ROOT_DIGITS` digits."""
    with localcontext(Context(prec=2 * ROOT_DIGITS, rounding=ROUND_HALF_EVEN)):
        total = sum((part * part for part in parts), Decimal(0)) / divide_by
    with localcontext(Context(prec=ROOT_DIGITS, rounding=ROUND_HALF_EVEN)):
        return total.sqrt()


def net_mass_uncertainty(traits: BalanceTraits) -> Decimal:
    """Standard uncertainty, in grams, of a net mass taken as the difference of two readings.

    u² = s² + 2(d/√12)² + 2(l/√3)² (EURACHEM/CITAC QUAM, weighing by difference), which is the exact sum
    s² + d²/6 + 2l²/3 under one root of `ROOT_DIGITS` digits. The repeatability is that of a net mass and
    therefore enters once.
    """
    with localcontext(Context(prec=2 * ROOT_DIGITS, rounding=ROUND_HALF_EVEN)):
        six_squares = 6 * traits.repeatability**2 + traits.readability**2 + 4 * traits.linearity**2
        total = six_squares / 6
    with localcontext(Context(prec=ROOT_DIGITS, rounding=ROUND_HALF_EVEN)):
        return total.sqrt()


def smallest_net_weight(traits: BalanceTraits, tolerance: Decimal) -> Decimal:
    """Smallest net mass, in grams, that meets the relative `tolerance` τ: 2·max(s, 0.41 d)/τ.

    The rule of USP <41>, which fixes τ at 0.10 %; a studio usually works at 1–5 %. Rounded up to the
    microgram. Raises `BadTolerance`.
    """
    _check_tolerance(tolerance)
    spread = max(traits.repeatability, REPEATABILITY_FLOOR * traits.readability)
    with localcontext(Context(prec=ROOT_DIGITS)):
        return mass_rounded_up(SMALLEST_WEIGHT_COVERAGE * spread / tolerance)


def mass_rounded_up(grams: Decimal) -> Decimal:
    """Up to the next microgram: for smallest amounts, where rounding to the nearest could miss the tolerance."""
    return grams.quantize(MICROGRAM, rounding=ROUND_CEILING)


def maximum_permissible_error(
    *,
    accuracy_class: AccuracyClass,
    verification_interval: Decimal,
    load: Decimal,
    in_service: bool = False,
) -> Decimal:
    """Largest error, ± grams, that OIML R 76-1 (Table 6) permits at `load`, upper bounds included.

    On initial verification 0.5 e, 1 e or 1.5 e by the load in intervals e; in service twice that (3.5.2).
    Raises `BeyondClass` above the largest number of intervals of classes II to IIII, `BadWeighing` for a
    negative load or an interval that is not positive.
    """
    _require(
        _is_positive(verification_interval),
        "The verification interval must be more than zero",
        verification_interval,
    )
    _require(_is_finite(load) and load >= 0, "A load cannot be below zero", load)
    for most_intervals, error_in_intervals in _ERROR_STEPS[accuracy_class]:
        if most_intervals is None or load <= most_intervals * verification_interval:
            return error_in_intervals * verification_interval * (2 if in_service else 1)
    most = _ERROR_STEPS[accuracy_class][-1][0]
    raise BeyondClass(
        f"Class {accuracy_class} goes up to {most} verification intervals of {figure(verification_interval)} g; "
        f"{figure(load)} g is more. Check the class and interval on the plate.",
        load=load,
    )


def check_weighing(
    *,
    traits: BalanceTraits,
    reference_mass: Decimal,
    reading: Decimal,
    bound: Decimal | None = None,
    reference_uncertainty: Decimal | None = None,
) -> CheckWeighing:
    """Judge a reading of a reference mass; passed when |reading − reference| is at most the bound.

    The studio's own `bound` goes first; without one, the in-service error of OIML R 76 for the balance's
    class, interval and this load. `reference_uncertainty` is the weight's own largest error or uncertainty,
    which should be at most a third of the bound (the rule USP <41> sets for test weights). Raises
    `NoBoundForCheck` when there is nothing to judge by, `BadWeighing` for impossible masses.
    """
    _require(_is_positive(reference_mass), "A reference mass must be more than zero", reference_mass)
    _require(_is_finite(reading), "A reading must be a number", reading)
    if reference_mass > traits.capacity:
        raise BadWeighing(
            f"The reference mass ({figure(reference_mass)} g) is more than this balance carries "
            f"({figure(traits.capacity)} g); use a smaller one."
        )
    limit, source, origin = _bound_for_check(traits, reference_mass, bound)
    deviation = reading - reference_mass
    passed = abs(deviation) <= limit
    return CheckWeighing(
        reference_mass=reference_mass,
        reading=reading,
        deviation=deviation,
        bound=limit,
        bound_source=source,
        bound_origin=origin,
        passed=passed,
        remarks=_check_remarks(traits, reference_mass, limit, reference_uncertainty),
        sentence=(
            f"{figure(reading)} g read for {figure(reference_mass)} g: off by {figure(deviation)} g, "
            f"{'within' if passed else 'outside'} ± {figure(limit)} g. {origin}"
            + ("" if passed else " Do not weigh on it until it has been adjusted and has passed.")
        ),
    )


def judge_weighing(*, traits: BalanceTraits, net_mass: Decimal, tolerance: Decimal) -> WeighingJudgement:
    """Say whether `net_mass` (grams) can be weighed to the relative `tolerance` on this balance, and why."""
    _require(_is_positive(net_mass), "A net mass must be more than zero", net_mass)
    smallest = smallest_net_weight(traits, tolerance)
    with localcontext(Context(prec=ROOT_DIGITS)):
        relative = net_mass_uncertainty(traits) / net_mass
    verdict: Literal["good", "too-small", "over-capacity"] = "good"
    sentence = (
        f"{figure(net_mass)} g is weighed well: this balance weighs from {figure(smallest)} g "
        f"to within {percent(tolerance)}."
    )
    if net_mass > traits.capacity:
        verdict = "over-capacity"
        sentence = (
            f"{figure(net_mass)} g is more than this balance carries ({figure(traits.capacity)} g); "
            f"weigh it in parts or on a larger one."
        )
    elif net_mass < smallest:
        verdict = "too-small"
        sentence = (
            f"{figure(net_mass)} g is below {figure(smallest)} g, the least this balance weighs to within "
            f"{percent(tolerance)}; take a weaker dilution, make more, or use a finer balance."
        )
    return WeighingJudgement(net_mass, smallest, verdict, relative, sentence)


def buoyancy_factor(
    density_g_ml: Decimal,
    *,
    air_density_g_ml: Decimal = AIR_DENSITY_G_ML,
    weight_density_g_ml: Decimal = WEIGHT_DENSITY_G_ML,
) -> Decimal:
    """What a reading is multiplied by to give the true mass of something of `density_g_ml`.

    (1 − ρ_air/ρ_weight)/(1 − ρ_air/ρ): air lifts the sample and the weights the balance was set with by
    different amounts (the usual air buoyancy correction, as in balance manuals). `ROOT_DIGITS` digits.
    """
    _require(
        _is_finite(density_g_ml) and density_g_ml > air_density_g_ml,
        "The density must be above that of air",
        density_g_ml,
    )
    with localcontext(Context(prec=ROOT_DIGITS, rounding=ROUND_HALF_EVEN)):
        return (1 - air_density_g_ml / weight_density_g_ml) / (1 - air_density_g_ml / density_g_ml)


def _bound_for_check(
    traits: BalanceTraits, load: Decimal, bound: Decimal | None
) -> tuple[Decimal, Literal["studio", "oiml"], str]:
    if bound is not None:
        _require(_is_positive(bound), "The bound of a check weighing must be more than zero", bound)
        return bound, "studio", f"The bound of ± {figure(bound)} g is the studio's own."
    if traits.accuracy_class is None or traits.verification_interval is None:
        raise NoBoundForCheck(
            "This balance has no accuracy class with a verification interval e, so no published bound "
            "applies; enter both from its plate, or give the check a bound of the studio's own."
        )
    limit = maximum_permissible_error(
        accuracy_class=traits.accuracy_class,
        verification_interval=traits.verification_interval,
        load=load,
        in_service=True,
    )
    origin = (
        f"The bound of ± {figure(limit)} g is the in-service error of OIML R 76 for class "
        f"{traits.accuracy_class}, e = {figure(traits.verification_interval)} g, at this load."
    )
    return limit, "oiml", origin


def _check_remarks(
    traits: BalanceTraits, reference_mass: Decimal, bound: Decimal, reference_uncertainty: Decimal | None
) -> tuple[str, ...]:
    remarks = []
    if reference_mass < traits.capacity * Decimal("0.05"):
        remarks.append(
            f"The reference mass is {percent(reference_mass / traits.capacity)} of the capacity; a check of "
            f"accuracy is usually made between 5 % and 100 % of it (USP <41>)."
        )
    if reference_uncertainty is not None and reference_uncertainty * 3 > bound:
        remarks.append(
            f"The reference mass itself is only known to ± {figure(reference_uncertainty)} g, more than a "
            f"third of the bound (± {readable(bound / 3)} g); use a better weight to decide."
        )
    return tuple(remarks)


def _check_tolerance(tolerance: Decimal) -> None:
    if not (_is_finite(tolerance) and 0 < tolerance < 1):
        raise BadTolerance(
            f"A relative tolerance lies above 0 and below 1 (0.01 means 1 %); {tolerance} does not."
        )


def _is_finite(value: Decimal) -> bool:
    return isinstance(value, Decimal) and value.is_finite()


def _is_positive(value: Decimal) -> bool:
    return _is_finite(value) and value > 0


def _require(holds: bool, sentence: str, value: Decimal) -> None:
    if not holds:
        raise BadWeighing(f"{sentence}; it is given as {value}.")
