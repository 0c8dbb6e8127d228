"""The figures of a formula as its pages show them: the same in the editor between keystrokes and on the page of a version.

Strength and ceiling are shown with all nine places that the API gives, shares of a line readable and as a bar.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.strength import FormulaLine
from batches.calc.written_cost import COSTED_MASS
from batches.queries.strengths import LineStrength, VersionStrength
from batches.queries.written import OnShelf, WrittenFigures
from inventory.calc.cautions import CautionReport
from inventory.calc.wording import listed, percent, readable
from studio.kernel.mass import nearest_fraction
from studio.pages.tags import grams
from studio.pages.tags import percent as exact_percent

WIDE = 1000
SWAPS_SHOWN = 6
HOLDING_SHOWN = 5


@dataclass(frozen=True, slots=True)
class LineShown:
    """What stands beside a line: its share of all odorant, exact and readable, a bar of it, and what the shelf has."""

    share: Decimal | None
    words: str
    width: int
    on_shelf: str


@dataclass(frozen=True, slots=True)
class SolventShown:
    """A solvent with its share of the whole, free and carried together."""

    name: str
    fraction: Decimal


@dataclass(frozen=True, slots=True)
class FiguresShown:
    """Everything that is reckoned of a formula as written."""

    strength: Decimal | None
    ceiling: Decimal | None
    no_strength: str
    said: str
    solvents: Sequence[SolventShown]
    holding: Sequence[str]
    swaps: Sequence[str]
    more_swaps: int
    cost: str
    cost_of: str
    cost_missing: str
    cost_rests_on: Sequence[str]
    cautions: CautionReport
    lines: Mapping[int, LineShown]


def shown_figures(figures: WrittenFigures, lines: Sequence[FormulaLine], currency: str) -> FiguresShown:
    """What the template shows of the figures of these lines; costs are in the studio's `currency`."""
    found = figures.strength
    strength = nearest_fraction(found.strength) if found else None
    ceiling = nearest_fraction(found.ceiling) if found else None
    swaps = [swap.sentence for swap in found.swaps] if found else []
    return FiguresShown(
        strength=strength,
        ceiling=ceiling,
        no_strength=figures.no_strength,
        said=_said(found, figures.no_strength),
        solvents=[SolventShown(one.name, nearest_fraction(one.fraction)) for one in found.solvents]
        if found
        else [],
        holding=[_holding(one) for one in found.holding_down[:HOLDING_SHOWN]] if found else [],
        swaps=swaps[:SWAPS_SHOWN],
        more_swaps=max(len(swaps) - SWAPS_SHOWN, 0),
        cost=_cost(figures, currency),
        cost_of=grams(COSTED_MASS),
        cost_missing=_without_price(figures, lines),
        cost_rests_on=list(figures.cost_rests_on.values()),
        cautions=figures.cautions,
        lines=_lines(figures, lines),
    )


def _said(found: VersionStrength | None, no_strength: str) -> str:
    if found is None:
        return no_strength
    return f"Strength {percent(found.strength)}, ceiling {percent(found.ceiling)}."


def _holding(one: LineStrength) -> str:
    return (
        f"{one.line.name} at {percent(one.line.strength)} brings {percent(one.share.carried_solvent)} "
        f"of the whole as solvent."
    )


def _cost(figures: WrittenFigures, currency: str) -> str:
    cost = figures.cost.cost
    amount = cost.known if cost.total is None else cost.total
    at_least = "at least " if cost.total is None else ""
    return f"{at_least}{readable(amount)} {currency}"


def _without_price(figures: WrittenFigures, lines: Sequence[FormulaLine]) -> str:
    names = [line.name for line in lines if line.key in figures.cost.without]
    return f"No price is known of {listed(list(dict.fromkeys(names)))}." if names else ""


def _lines(figures: WrittenFigures, lines: Sequence[FormulaLine]) -> dict[int, LineShown]:
    shares = (
        {one.line.key: one.share.odorant_share for one in figures.strength.lines} if figures.strength else {}
    )
    return {line.key: _line(line, shares.get(line.key), figures) for line in lines}


def _line(line: FormulaLine, share: Decimal | None, figures: WrittenFigures) -> LineShown:
    if line.is_solvent or share is None:
        return LineShown(None, "solvent" if line.is_solvent else "", 0, _shelf(line, figures))
    return LineShown(
        share=nearest_fraction(share),
        words=percent(share),
        width=max(3, min(WIDE, round(share * WIDE))),
        on_shelf=_shelf(line, figures),
    )


def _shelf(line: FormulaLine, figures: WrittenFigures) -> str:
    """At which strengths the material is free to use on the shelf."""
    found = figures.on_shelf.get(line.material, ())
    if not found:
        return "not on the shelf"
    if line.is_solvent:
        return f"{readable(sum((one.available for one in found), Decimal(0)))} g on the shelf"
    return f"on the shelf: {', '.join(_strength(one) for one in found)}"


def _strength(one: OnShelf) -> str:
    return "neat" if one.strength == 1 else exact_percent(one.strength)
