"""The parts of a lot as the cautions see them: share, hazard codes, flash point, and the figures that refine them.

Whatever cannot be true of a lot is refused here, every fault at once, so that the rules never meet it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.calc.caution_rules import SensitiserCategory
from inventory.calc.codes import HazardCodeShape, base_code, parse_hazard_code
from inventory.calc.wording import percent
from studio.kernel.errors import Faults, Invalid

_SUM_SLACK = Decimal("0.000001")
"""Contents rounded to nine places may add up to a little more than 1."""


class BadContents(Invalid):
    """Contents that cannot be those of a lot: no parts, a part twice, shares outside 0 to 1."""

    code = "bad-contents"
    title = "These contents cannot be right"


@dataclass(frozen=True, slots=True)
class SpecificLimit:
    """A share from which one part alone gives `code`, set for that substance (CLP Annex VI or its supplier)."""

    code: str
    fraction: Decimal
    source: str


@dataclass(frozen=True, slots=True)
class HazardousPart:
    """A material in a lot: its mass fraction, and what its supplier's paper says of it.

    `hazard_codes` are written forms (`H317`); `flash_point_c` and `boiling_point_c` may be unknown.
    `sensitiser_category` refines H317 and H334; the M-factors multiply H400 and H410 (CLP Annex I, 4.1.3.5.5.5).
    """

    material: str
    fraction: Decimal
    hazard_codes: tuple[str, ...] = ()
    flash_point_c: Decimal | None = None
    boiling_point_c: Decimal | None = None
    sensitiser_category: SensitiserCategory = "1"
    specific_limits: tuple[SpecificLimit, ...] = ()
    m_factor_acute: Decimal = Decimal(1)
    m_factor_chronic: Decimal = Decimal(1)


def specific_limit(part: HazardousPart, code: str) -> SpecificLimit | None:
    """The limit set for this part alone for `code` or its unlettered form, if there is one."""
    return next((limit for limit in part.specific_limits if limit.code in (code, base_code(code))), None)


def check_parts(parts: Sequence[HazardousPart], shown_from: Decimal) -> None:
    """Refuse, as `BadContents`, parts or a share to show from that cannot be right."""
    faults = Faults()
    if not parts:
        faults.add("parts", "A lot contains something; give at least one part.")
    if not (shown_from.is_finite() and 0 < shown_from <= 1):
        faults.add(
            "shown_from",
            f"The share from which parts are shown lies above 0 and at most 1, not {shown_from}.",
        )
    seen: set[str] = set()
    for place, part in enumerate(parts):
        if part.material in seen:
            faults.add(f"parts.{place}.material", f"{part.material} is given twice; add its shares up first.")
        seen.add(part.material)
        _check_part(faults, f"parts.{place}", part)
    total = sum((part.fraction for part in parts if part.fraction.is_finite()), Decimal(0))
    if total > 1 + _SUM_SLACK:
        faults.add("parts", f"The shares add up to {percent(total, 9)}, more than the whole lot.")
    if faults:
        raise BadContents(next(iter(faults.errors.values()))[0], errors=faults.errors)


def _check_part(faults: Faults, field: str, part: HazardousPart) -> None:
    if not (part.fraction.is_finite() and 0 <= part.fraction <= 1):
        faults.add(
            f"{field}.fraction", f"The share of {part.material} lies between 0 and 1, not {part.fraction}."
        )
    for code in part.hazard_codes:
        try:
            well_formed = parse_hazard_code(code) == code
        except HazardCodeShape:
            well_formed = False
        if not well_formed:
            faults.add(
                f"{field}.hazard_codes",
                f"{part.material}: “{code}” is not a hazard statement code in its written form.",
            )
    for value in (part.flash_point_c, part.boiling_point_c):
        if value is not None and not value.is_finite():
            faults.add(f"{field}.flash_point_c", f"A temperature of {part.material} is no number: {value}.")
    for limit in part.specific_limits:
        if not (limit.fraction.is_finite() and 0 < limit.fraction <= 1):
            faults.add(
                f"{field}.specific_limits",
                f"The limit of {part.material} for {limit.code} lies above 0 and at most 1, not {limit.fraction}.",
            )
    for factor in (part.m_factor_acute, part.m_factor_chronic):
        if not (factor.is_finite() and factor >= 1):
            faults.add(f"{field}.m_factor", f"An M-factor of {part.material} is 1 or more, not {factor}.")
