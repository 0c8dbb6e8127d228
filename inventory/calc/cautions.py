"""Which hazard statements of its parts a lot carries, from its contents and the codes of its materials.

Every statement shown has its reasons: which part, at what share, from which share it counts and where that
is written. Sensitisers and the like are judged part by part; irritation, aspiration, acute and aquatic
toxicity are added up as CLP Annex I says. Flammable parts are listed with their own category: the flash
point of a mixture cannot be had from those of its parts, and none is pretended. Codes for which no share is
published are shown from a share the studio may choose. Nothing here classifies a product; the report always
carries the words that defer to local rules and a qualified assessor.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from inventory.calc.caution_rules import (
    BOILS_LOW_UP_TO_C,
    CODES_WITH_RULES,
    ELICITATION_LIMITS,
    ELICITATION_SOURCE,
    FLAMMABLE_BELOW_C,
    FLAMMABLE_CODES,
    FLAMMABLE_SOURCE,
    FLAMMABLE_UP_TO_C,
    LADDERS,
    SENSITISER_CODES,
    SENSITISER_LIMITS,
    SENSITISER_SOURCE,
    SINGLE_RULES,
    MFactor,
    SummedRule,
)
from inventory.calc.codes import DEFERRING_WORDS, base_code, hazard_statement
from inventory.calc.hazardous_parts import HazardousPart, check_parts, specific_limit
from inventory.calc.wording import figure, listed, percent, readable

SHOWN_FROM = Decimal("0.01")
"""Share from which a code without a published limit is shown; this service's choice, no published value."""
NOTHING = Fraction(0)
SHOWN_FROM_SOURCE = "no published share; the studio's own"
NO_MIXED_FLASH_POINT = (
    "The flash point of a mixture does not follow from those of its parts; none is computed here. "
    "Handle it as its most flammable part until it has been measured."
)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a statement is shown: the parts that count, the source of the limit, and it all in a sentence."""

    materials: tuple[str, ...]
    source: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard statement of the lot: the code, its regulatory text, what to do, and every reason for it."""

    code: str
    text: str
    caution: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class FlammablePart:
    """A flammable liquid among the parts, with its category 1 to 3 and what that was taken from."""

    material: str
    fraction: Decimal
    category: int
    sentence: str


@dataclass(frozen=True, slots=True)
class BelowCutOff:
    """A code of a part that is in the lot with too small a share to be shown."""

    material: str
    code: str
    fraction: Decimal


@dataclass(frozen=True, slots=True)
class CautionReport:
    """Everything to show beside a lot; `words` is to be shown with it always."""

    cautions: tuple[Caution, ...]
    flammable_parts: tuple[FlammablePart, ...]
    below_cut_off: tuple[BelowCutOff, ...]
    flash_point_note: str
    words: str = DEFERRING_WORDS


@dataclass(frozen=True, slots=True)
class _Finding:
    code: str
    reason: Reason
    settles: frozenset[tuple[str, str]]
    """(material, code) pairs this finding accounts for."""


def cautions_of(parts: Sequence[HazardousPart], *, shown_from: Decimal = SHOWN_FROM) -> CautionReport:
    """The hazard statements of a lot with these parts, each with its reasons, in the order of their codes.

    `shown_from` is the share from which flammable parts and codes without a published limit are shown.
    Raises `BadContents` with every fault at once.
    """
    check_parts(parts, shown_from)
    flammable = tuple(found for part in parts if (found := _flammable(part, shown_from)))
    findings = [
        *(_flammable_finding(part) for part in flammable),
        *(finding for ladder in LADDERS if (finding := _climb(ladder, parts))),
        *(finding for part in parts for finding in _alone(part)),
        *(finding for part in parts for finding in _sensitising(part)),
        *(finding for part in parts for finding in _without_rule(part, shown_from)),
    ]
    return CautionReport(
        cautions=_gathered(findings),
        flammable_parts=flammable,
        below_cut_off=_left_over(parts, findings),
        flash_point_note=NO_MIXED_FLASH_POINT if flammable else "",
    )


def flammable_category(flash_point_c: Decimal, boiling_point_c: Decimal | None = None) -> int | None:
    """Category of a flammable liquid (CLP Annex I, Table 2.6.1), None above a flash point of 60 °C.

    1 and 2 have a flash point below 23 °C and part at a boiling point of 35 °C; an unknown boiling point is
    taken as higher, as it is for every usual solvent and odorant.
    """
    if flash_point_c > FLAMMABLE_UP_TO_C:
        return None
    if flash_point_c >= FLAMMABLE_BELOW_C:
        return 3
    return 1 if boiling_point_c is not None and boiling_point_c <= BOILS_LOW_UP_TO_C else 2


def _flammable(part: HazardousPart, shown_from: Decimal) -> FlammablePart | None:
    told = [category for category, code in FLAMMABLE_CODES.items() if code in part.hazard_codes]
    measured = (
        None if part.flash_point_c is None else flammable_category(part.flash_point_c, part.boiling_point_c)
    )
    categories = told + ([] if measured is None else [measured])
    if part.fraction < shown_from or not categories:
        return None
    category = min(categories)
    taken_from = []
    if part.flash_point_c is not None:
        taken_from.append(f"flash point {figure(part.flash_point_c)} °C")
    taken_from += [FLAMMABLE_CODES[one] for one in told]
    return FlammablePart(
        material=part.material,
        fraction=part.fraction,
        category=category,
        sentence=(
            f"{part.material} ({percent(part.fraction)}) is a flammable liquid of category {category} "
            f"({listed(taken_from)}); such parts are shown from {percent(shown_from)} on, the studio's own choice."
        ),
    )


def _flammable_finding(part: FlammablePart) -> _Finding:
    return _Finding(
        code=FLAMMABLE_CODES[part.category],
        reason=Reason((part.material,), FLAMMABLE_SOURCE, part.sentence),
        settles=frozenset((part.material, code) for code in FLAMMABLE_CODES.values()),
    )


def _climb(ladder: tuple[SummedRule, ...], parts: Sequence[HazardousPart]) -> _Finding | None:
    """The strongest rung of a ladder that the parts together reach; it also settles the weaker codes."""
    for rule in ladder:
        shares = {part: share for part in parts if (share := _share_of_limit(rule, part)) > 0}
        load = sum(shares.values(), Fraction(0))
        if load < 1:
            continue
        materials = tuple(part.material for part in shares)
        sentence = _sum_sentence(rule, list(shares), load)
        return _Finding(rule.result, Reason(materials, rule.source, sentence), _settled(ladder, parts))
    return None


def _settled(ladder: tuple[SummedRule, ...], parts: Sequence[HazardousPart]) -> frozenset[tuple[str, str]]:
    return frozenset(
        (part.material, code)
        for part in parts
        for code in part.hazard_codes
        if any(base_code(code) in rung.weights and _share_of_limit(rung, part) > 0 for rung in ladder)
    )


def _share_of_limit(rule: SummedRule, part: HazardousPart) -> Fraction:
    """How much of the rule's limit this part fills by itself; a limit of its own goes first."""
    codes = [code for code in _base_codes(part.hazard_codes) if code in rule.weights]
    if not codes:
        return NOTHING
    own = specific_limit(part, rule.result)
    if own is not None:
        return Fraction(part.fraction) / Fraction(own.fraction)
    loads = [
        Fraction(part.fraction) * rule.weights[code] * _m_factor(rule, part, code)
        for code in codes
        if _counts(rule, part, code)
    ]
    return max(loads, default=NOTHING) / rule.limit


@lru_cache(maxsize=4096)
def _base_codes(codes: tuple[str, ...]) -> tuple[str, ...]:
    """Asked for by every rule of every part, and few sets of codes are there."""
    return tuple(map(base_code, codes))


def _counts(rule: SummedRule, part: HazardousPart, code: str) -> bool:
    return Fraction(part.fraction) * _m_factor(rule, part, code) >= Fraction(rule.relevant_from[code])


def _m_factor(rule: SummedRule, part: HazardousPart, code: str) -> Fraction:
    if rule.multiplied is None or rule.multiplied[0] != code:
        return Fraction(1)
    factors: dict[MFactor, Decimal] = {"acute": part.m_factor_acute, "chronic": part.m_factor_chronic}
    return Fraction(factors[rule.multiplied[1]])


def _sum_sentence(rule: SummedRule, counted: Sequence[HazardousPart], load: Fraction) -> str:
    named = listed([f"{part.material} ({percent(part.fraction)})" for part in counted])
    if rule.estimate_unit:
        estimate = _as_decimal(1 / (load * rule.limit))
        told = (
            f"{named}: the estimate for the whole is {readable(estimate)} {rule.estimate_unit}, and {rule.result} "
            f"applies up to {readable(_as_decimal(1 / rule.limit))} {rule.estimate_unit}."
        )
    else:
        total = _as_decimal(load * rule.limit)
        told = (
            f"{named}: counted as {rule.source} says this makes {percent(total)}, and {rule.result} applies "
            f"from {percent(_as_decimal(rule.limit))}."
        )
    own = [part.material for part in counted if specific_limit(part, rule.result)]
    if own:
        told += f" {listed(own)} counted against a limit of its own."
    return f"{told} {rule.condition}".strip()


def _alone(part: HazardousPart) -> list[_Finding]:
    """Statements of rules that look at this part by itself; for each of its codes the first rule that holds."""
    findings = []
    for code in part.hazard_codes:
        for rule in SINGLE_RULES:
            if rule.code != base_code(code):
                continue
            shown = code if rule.result == rule.code else rule.result
            limit, source = _limit(part, shown, rule.limit, rule.source)
            if part.fraction >= limit:
                findings.append(_single_finding(part, code, shown, limit, source))
                break
    return findings


def _sensitising(part: HazardousPart) -> list[_Finding]:
    findings = []
    for code in SENSITISER_CODES:
        if code not in part.hazard_codes:
            continue
        category = part.sensitiser_category
        limit, source = _limit(part, code, SENSITISER_LIMITS[category], SENSITISER_SOURCE)
        own = specific_limit(part, code)
        allergic_from = ELICITATION_LIMITS[category] if own is None else own.fraction / 10
        if part.fraction >= limit:
            findings.append(
                _single_finding(part, code, code, limit, source, f" as sensitiser of category {category}")
            )
        elif part.fraction >= allergic_from:
            findings.append(
                _single_finding(
                    part, code, "EUH208", allergic_from, ELICITATION_SOURCE, " for people already allergic"
                )
            )
    return findings


def _without_rule(part: HazardousPart, shown_from: Decimal) -> list[_Finding]:
    return [
        _single_finding(part, code, code, *_limit(part, code, shown_from, SHOWN_FROM_SOURCE))
        for code in part.hazard_codes
        if base_code(code) not in CODES_WITH_RULES
        and part.fraction >= _limit(part, code, shown_from, SHOWN_FROM_SOURCE)[0]
    ]


def _single_finding(
    part: HazardousPart, own_code: str, shown: str, limit: Decimal, source: str, role: str = ""
) -> _Finding:
    sentence = (
        f"{part.material} ({own_code}) is {percent(part.fraction)}, and it counts{role} from "
        f"{percent(limit)} on ({source}); parts are not added up for this."
    )
    return _Finding(shown, Reason((part.material,), source, sentence), frozenset({(part.material, own_code)}))


def _limit(part: HazardousPart, code: str, generic: Decimal, source: str) -> tuple[Decimal, str]:
    own = specific_limit(part, code)
    return (generic, source) if own is None else (own.fraction, own.source)


def _gathered(findings: Sequence[_Finding]) -> tuple[Caution, ...]:
    by_code: dict[str, list[Reason]] = {}
    for finding in findings:
        by_code.setdefault(finding.code, []).append(finding.reason)
    cautions = []
    for code in sorted(by_code, key=lambda code: (code.startswith("EUH"), code)):
        told = hazard_statement(code)
        cautions.append(Caution(code, told.text, told.caution, tuple(by_code[code])))
    return tuple(cautions)


def _left_over(parts: Sequence[HazardousPart], findings: Sequence[_Finding]) -> tuple[BelowCutOff, ...]:
    settled = {pair for finding in findings for pair in finding.settles}
    return tuple(
        BelowCutOff(part.material, code, part.fraction)
        for part in parts
        for code in part.hazard_codes
        if (part.material, code) not in settled
    )


def _as_decimal(fraction: Fraction) -> Decimal:
    return Decimal(fraction.numerator) / Decimal(fraction.denominator)
