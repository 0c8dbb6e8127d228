"""From which share on a classified part lends its hazard statement to the mixture: the tables of CLP Annex I.

Two kinds of rule exist. A single rule looks at each part by itself, so two sensitisers at 0.9 % do not make
1.8 %. A summed rule adds the parts of a ladder of codes, each with its weight, from the share on from which
a part is relevant; the strongest rung that is reached stands for the ladder. Limits are inclusive (≥), and
weights are exact fractions so that a mixture standing exactly on a limit is judged right.
"""

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Literal

SensitiserCategory = Literal["1", "1A", "1B"]
MFactor = Literal["acute", "chronic"]

SENSITISER_LIMITS: dict[SensitiserCategory, Decimal] = {
    "1": Decimal("0.01"),
    "1A": Decimal("0.001"),
    "1B": Decimal("0.01"),
}
SENSITISER_SOURCE = "CLP Annex I, Table 3.4.5"
ELICITATION_LIMITS: dict[SensitiserCategory, Decimal] = {
    "1": Decimal("0.001"),
    "1A": Decimal("0.0001"),
    "1B": Decimal("0.001"),
}
ELICITATION_SOURCE = "CLP Annex I, Table 3.4.6, and Annex II, 2.8"
SENSITISER_CODES = ("H317", "H334")

FLAMMABLE_SOURCE = "CLP Annex I, Table 2.6.1"
FLAMMABLE_CODES: dict[int, str] = {1: "H224", 2: "H225", 3: "H226"}
FLAMMABLE_BELOW_C = Decimal(23)
FLAMMABLE_UP_TO_C = Decimal(60)
BOILS_LOW_UP_TO_C = Decimal(35)


@dataclass(frozen=True, slots=True)
class SingleRule:
    """A part with `code` at or above `limit` gives the mixture `result`; parts are not added."""

    code: str
    limit: Decimal
    result: str
    source: str


@dataclass(frozen=True, slots=True)
class SummedRule:
    """Parts with the codes of `weights` are added, each times its weight; `result` from `limit` on.

    A part is counted from `relevant_from` its code's share on. `multiplied` names the code whose weight is
    also multiplied by the part's M-factor, and which M-factor. `estimate_unit` marks an acute toxicity rule,
    where `limit` is one over the estimate in that unit.
    """

    result: str
    weights: dict[str, Fraction]
    limit: Fraction
    source: str
    relevant_from: dict[str, Decimal] = field(default_factory=dict)
    multiplied: tuple[str, MFactor] | None = None
    estimate_unit: str = ""
    condition: str = ""


_ONE_PERCENT = Decimal("0.01")
_TENTH_PERCENT = Decimal("0.001")


def _single(source: str, *rows: tuple[str, str, str]) -> tuple[SingleRule, ...]:
    return tuple(SingleRule(code, Decimal(limit), result, source) for code, limit, result in rows)


SINGLE_RULES: tuple[SingleRule, ...] = (
    *_single("CLP Annex I, Table 3.5.2", ("H340", "0.001", "H340"), ("H341", "0.01", "H341")),
    *_single("CLP Annex I, Table 3.6.2", ("H350", "0.001", "H350"), ("H351", "0.01", "H351")),
    *_single(
        "CLP Annex I, Table 3.7.2",
        ("H360", "0.003", "H360"),
        ("H361", "0.03", "H361"),
        ("H362", "0.003", "H362"),
    ),
    *_single(
        "CLP Annex I, Table 3.8.3",
        ("H370", "0.1", "H370"),
        ("H370", "0.01", "H371"),
        ("H371", "0.1", "H371"),
    ),
    *_single(
        "CLP Annex I, Table 3.9.4",
        ("H372", "0.1", "H372"),
        ("H372", "0.01", "H373"),
        ("H373", "0.1", "H373"),
    ),
    *_single("CLP Annex I, Table 5.1", ("H420", "0.001", "H420")),
)
"""For one code, the rule with the higher limit stands first and wins."""


def _percent_rule(
    result: str,
    limit_percent: int,
    source: str,
    *,
    relevant_from: dict[str, Decimal] | None = None,
    multiplied: tuple[str, MFactor] | None = None,
    condition: str = "",
    **weights: int,
) -> SummedRule:
    return SummedRule(
        result=result,
        weights={code: Fraction(weight) for code, weight in weights.items()},
        limit=Fraction(limit_percent, 100),
        source=source,
        relevant_from=relevant_from or dict.fromkeys(weights, _ONE_PERCENT),
        multiplied=multiplied,
        condition=condition,
    )


def _acute_ladder(
    codes: tuple[str, str, str], estimates: tuple[str, str, str], bounds: tuple[str, str, str], unit: str
) -> tuple[SummedRule, ...]:
    """100/ATE = Σ share/ATE (3.1.3.6.1) with the point estimates of Table 3.1.2; a code reaches its bound.

    The first code covers categories 1 and 2 alike, so the smaller estimate, that of category 1, is used.
    """
    weights = {code: 1 / Fraction(estimate) for code, estimate in zip(codes, estimates, strict=True)}
    relevant = {codes[0]: _TENTH_PERCENT, codes[1]: _TENTH_PERCENT, codes[2]: _ONE_PERCENT}
    return tuple(
        SummedRule(
            result=code,
            weights=weights,
            limit=1 / Fraction(bound),
            source="CLP Annex I, 3.1.3.6 and Table 3.1.2",
            relevant_from=relevant,
            estimate_unit=unit,
            condition="Parts without a code for this route are taken as not toxic by it.",
        )
        for code, bound in zip(codes, bounds, strict=True)
    )


_WATER_FROM = {
    "H400": _TENTH_PERCENT,
    "H410": _TENTH_PERCENT,
    "H411": _ONE_PERCENT,
    "H412": _ONE_PERCENT,
    "H413": _ONE_PERCENT,
}
_CHRONIC: tuple[str, MFactor] = ("H410", "chronic")

LADDERS: tuple[tuple[SummedRule, ...], ...] = (
    _acute_ladder(("H300", "H301", "H302"), ("0.5", "100", "500"), ("50", "300", "2000"), "mg/kg"),
    _acute_ladder(("H310", "H311", "H312"), ("5", "300", "1100"), ("200", "1000", "2000"), "mg/kg"),
    _acute_ladder(("H330", "H331", "H332"), ("0.05", "3", "11"), ("2", "10", "20"), "mg/L of vapour"),
    (
        _percent_rule(
            "H304",
            10,
            "CLP Annex I, 3.10.3.3.1",
            condition="It holds for a liquid of at most 20.5 mm²/s at 40 °C; how thick this one is, is not known here.",
            H304=1,
        ),
    ),
    (
        _percent_rule("H314", 5, "CLP Annex I, Table 3.2.3", H314=1),
        _percent_rule("H315", 10, "CLP Annex I, Table 3.2.3", H314=10, H315=1),
    ),
    (
        _percent_rule("H318", 3, "CLP Annex I, Table 3.3.3", H314=1, H318=1),
        _percent_rule("H319", 10, "CLP Annex I, Table 3.3.3", H314=10, H318=10, H319=1),
    ),
    (_percent_rule("H335", 20, "CLP Annex I, 3.8.3.4.5", H335=1),),
    (_percent_rule("H336", 20, "CLP Annex I, 3.8.3.4.5", H336=1),),
    (
        _percent_rule(
            "H400",
            25,
            "CLP Annex I, Table 4.1.1",
            relevant_from=_WATER_FROM,
            multiplied=("H400", "acute"),
            H400=1,
        ),
    ),
    (
        _percent_rule(
            "H410", 25, "CLP Annex I, Table 4.1.2", relevant_from=_WATER_FROM, multiplied=_CHRONIC, H410=1
        ),
        _percent_rule(
            "H411",
            25,
            "CLP Annex I, Table 4.1.2",
            relevant_from=_WATER_FROM,
            multiplied=_CHRONIC,
            H410=10,
            H411=1,
        ),
        _percent_rule(
            "H412",
            25,
            "CLP Annex I, Table 4.1.2",
            relevant_from=_WATER_FROM,
            multiplied=_CHRONIC,
            H410=100,
            H411=10,
            H412=1,
        ),
        _percent_rule(
            "H413",
            25,
            "CLP Annex I, Table 4.1.2",
            relevant_from=_WATER_FROM,
            H410=1,
            H411=1,
            H412=1,
            H413=1,
        ),
    ),
)
"""Each ladder from its strongest rung to its weakest; the first that is reached is the one that is shown."""

CODES_WITH_RULES = (
    frozenset(rule.code for rule in SINGLE_RULES)
    | frozenset(code for ladder in LADDERS for rule in ladder for code in rule.weights)
    | frozenset(SENSITISER_CODES)
    | frozenset(FLAMMABLE_CODES.values())
)
