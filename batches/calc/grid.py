"""A grid of vials: some lots crossed with others at given ratios, how much of each goes where, in which order.

Every lot of one side meets every lot of the other at every ratio, by mass, in vials of one size. The side A
amount is rounded to the microgram and side B is the rest, so each vial adds up exactly; the final strength is
the lot's strength times its share (1:1 of a 1 % and a 10 % stock gives 0.5 % and 5 %). Controls hold one
lot alone, let down with solvent to the strength it has in the grid, so that a nose can tell what the other
side adds. The pour order takes each stock in hand once: a stock is poured into all its vials before the next
is opened, side A, side B, then solvent. Nothing is refused for being short or too small to weigh: the
plan says so, since another vial size or a refill may be the answer.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext
from typing import Literal

from inventory.calc.weighing import mass_rounded_up
from inventory.calc.wording import figure
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import (
    BadNumber,
    exact_mass,
    exact_strength,
    nearest_fraction,
    nearest_mass,
    positive_mass,
)

Side = Literal["A", "B", "solvent"]
MOST_VIALS = 900
"""As many vials as there are three-digit numbers to label them blind with."""

LARGEST_PART = Decimal(1_000_000)


class BadGrid(Invalid):
    """Sides, ratios or a vial mass that no grid can be laid out from; every fault at once."""

    code = "bad-grid"
    title = "This grid cannot be laid out"


class GridTooLarge(Invalid):
    """More vials than can be told apart by three-digit numbers."""

    code = "grid-too-large"
    title = "Too many vials"


@dataclass(frozen=True, slots=True)
class GridLot:
    """A lot of one side, or the solvent: its actual strength (1 for solvent) and what is available, in grams."""

    lot: str
    strength: Decimal
    available: Decimal


@dataclass(frozen=True, slots=True)
class Ratio:
    """Parts by mass of side A to side B, both above zero."""

    a: Decimal
    b: Decimal


@dataclass(frozen=True, slots=True)
class Portion:
    """Grams of one lot in one vial, and the strength its material has there (0 for solvent)."""

    lot: str
    side: Side
    mass: Decimal
    strength: Decimal


@dataclass(frozen=True, slots=True)
class Vial:
    """One vial of the grid, numbered from 1; a control holds one lot and solvent and has no ratio."""

    number: int
    portions: tuple[Portion, ...]
    ratio: Ratio | None

    @property
    def is_control(self) -> bool:
        return self.ratio is None


@dataclass(frozen=True, slots=True)
class StockTotal:
    """What the whole grid takes of one lot, against what is available; `short` is zero where it suffices."""

    lot: str
    needed: Decimal
    available: Decimal
    short: Decimal


@dataclass(frozen=True, slots=True)
class Pour:
    """One stock taken in hand once: the vials it goes into, in order, with the grams for each."""

    lot: str
    side: Side
    into: tuple[tuple[int, Decimal], ...]
    total: Decimal


@dataclass(frozen=True, slots=True)
class SmallPour:
    """A portion below the smallest mass that can be weighed well."""

    vial: int
    lot: str
    mass: Decimal


@dataclass(frozen=True, slots=True)
class GridPlan:
    """The grid laid out. Portions below `smallest` are `too_small`; `vial_mass_that_weighs` is the least vial mass at which no portion is too small;
    `sentences` tell what is short or too small, with what to do; empty when the grid can be poured as it is.
    """

    vials: tuple[Vial, ...]
    totals: tuple[StockTotal, ...]
    pours: tuple[Pour, ...]
    too_small: tuple[SmallPour, ...]
    smallest: Decimal
    vial_mass_that_weighs: Decimal
    sentences: tuple[str, ...]

    @property
    def can_be_poured(self) -> bool:
        return not self.sentences


def lay_out_grid(
    *,
    side_a: Sequence[GridLot],
    side_b: Sequence[GridLot],
    ratios: Sequence[Ratio],
    vial_mass: Decimal,
    smallest: Decimal,
    solvent: GridLot | None = None,
) -> GridPlan:
    """Cross every lot of side A with every lot of side B at every ratio, in vials of `vial_mass` grams.

    `smallest` is the balance's smallest net weight for the studio's tolerance. With `solvent`, controls are
    added: each lot alone at each strength it has in the grid. Raises `BadGrid` or `GridTooLarge`.
    """
    with localcontext(Context(prec=28, rounding=ROUND_HALF_EVEN)):
        _check(side_a, side_b, ratios, vial_mass, smallest, solvent)
        crossed = [_crossing(a, b, ratio, vial_mass) for a in side_a for b in side_b for ratio in ratios]
        controls = [] if solvent is None else _controls(crossed, solvent, vial_mass)
        vials = tuple(
            Vial(number, portions, ratio)
            for number, (portions, ratio) in enumerate(
                [*crossed, *((one, None) for one in controls)], start=1
            )
        )
        _check_count(len(vials))
        lots = [*side_a, *side_b, *([] if solvent is None else [solvent])]
        pours = tuple(_pours(vials, lots))
        totals = tuple(_total(pour, lots) for pour in pours)
        too_small = tuple(
            SmallPour(vial.number, portion.lot, portion.mass)
            for vial in vials
            for portion in vial.portions
            if portion.mass < smallest
        )
        enough = _vial_mass_that_weighs(ratios, smallest)
        return GridPlan(
            vials,
            totals,
            pours,
            too_small,
            smallest,
            enough,
            _sentences(totals, too_small, smallest, enough),
        )


def _crossing(a: GridLot, b: GridLot, ratio: Ratio, vial_mass: Decimal) -> tuple[tuple[Portion, ...], Ratio]:
    mass_a = nearest_mass(vial_mass * ratio.a / (ratio.a + ratio.b))
    portions = (
        _portion(a, "A", mass_a, vial_mass),
        _portion(b, "B", vial_mass - mass_a, vial_mass),
    )
    if any(portion.mass == 0 for portion in portions):
        raise BadGrid(
            f"At {figure(ratio.a)}:{figure(ratio.b)} a vial of {figure(vial_mass)} g would hold less than a "
            f"microgram of one side; take a ratio nearer to 1:1 or a weaker dilution."
        )
    return portions, ratio


def _portion(lot: GridLot, side: Side, mass: Decimal, vial_mass: Decimal) -> Portion:
    strength = Decimal(0) if side == "solvent" else nearest_fraction(mass * lot.strength / vial_mass)
    return Portion(lot.lot, side, mass, strength)


def _controls(
    crossed: Sequence[tuple[tuple[Portion, ...], Ratio]], solvent: GridLot, vial_mass: Decimal
) -> list[tuple[Portion, ...]]:
    """Each lot alone at each mass it has in the grid, once, made up with solvent; side A first."""
    alone = dict.fromkeys(
        portion for side in (0, 1) for portions, _ in crossed for portion in portions[side : side + 1]
    )
    return [(portion, _portion(solvent, "solvent", vial_mass - portion.mass, vial_mass)) for portion in alone]


def _pours(vials: Sequence[Vial], lots: Sequence[GridLot]) -> Iterator[Pour]:
    for lot in lots:
        found = [
            (vial.number, portion) for vial in vials for portion in vial.portions if portion.lot == lot.lot
        ]
        into = tuple((number, portion.mass) for number, portion in found)
        yield Pour(lot.lot, found[0][1].side, into, sum((mass for _, mass in into), Decimal(0)))


def _total(pour: Pour, lots: Sequence[GridLot]) -> StockTotal:
    available = next(lot.available for lot in lots if lot.lot == pour.lot)
    return StockTotal(pour.lot, pour.total, available, max(pour.total - available, Decimal(0)))


def _vial_mass_that_weighs(ratios: Sequence[Ratio], smallest: Decimal) -> Decimal:
    """The smaller side of the most lopsided ratio must reach the smallest weight: w·(a + b)/min(a, b)."""
    return max(mass_rounded_up(smallest * (one.a + one.b) / min(one.a, one.b)) for one in ratios)


def _sentences(
    totals: Sequence[StockTotal], too_small: Sequence[SmallPour], smallest: Decimal, enough: Decimal
) -> tuple[str, ...]:
    sentences = [
        f"Lot {total.lot} is short by {figure(total.short)} g: the grid takes {figure(total.needed)} g and "
        f"{figure(total.available)} g are available."
        for total in totals
        if total.short > 0
    ]
    if too_small:
        least = min(too_small, key=lambda pour: (pour.mass, pour.vial))
        sentences.append(
            f"{len(too_small)} portions are below {figure(smallest)} g, the least this balance weighs well; the "
            f"smallest is {figure(least.mass)} g of lot {least.lot} in vial {least.vial}. Vials of "
            f"{figure(enough)} g would do."
        )
    return tuple(sentences)


def _check_count(vials: int) -> None:
    if vials > MOST_VIALS:
        raise GridTooLarge(
            f"This grid has {vials} vials; only {MOST_VIALS} can be told apart by three-digit numbers. "
            f"Take fewer lots or ratios, or lay out two grids.",
            vials=vials,
        )


def _check(
    side_a: Sequence[GridLot],
    side_b: Sequence[GridLot],
    ratios: Sequence[Ratio],
    vial_mass: Decimal,
    smallest: Decimal,
    solvent: GridLot | None,
) -> None:
    faults = Faults()
    for field, given in (("side_a", side_a), ("side_b", side_b), ("ratios", ratios)):
        if not given:
            faults.add(field, "Give at least one lot for each side and one ratio.")
    lots = [*side_a, *side_b, *([] if solvent is None else [solvent])]
    for name in sorted({lot.lot for lot in lots if sum(other.lot == lot.lot for other in lots) > 1}):
        faults.add("lots", f"Lot {name} is given twice; a lot stands on one side of a grid, once.")
    for lot in lots:
        _gather(
            faults, f"lots.{lot.lot}.strength", exact_strength, lot.strength, f"the strength of lot {lot.lot}"
        )
        _gather(faults, f"lots.{lot.lot}.available", exact_mass, lot.available, f"the mass of lot {lot.lot}")
    for place, ratio in enumerate(ratios):
        if not all(part.is_finite() and 0 < part <= LARGEST_PART for part in (ratio.a, ratio.b)):
            faults.add(f"ratios.{place}", f"Both parts of a ratio are above 0; {ratio.a}:{ratio.b} is none.")
    _gather(faults, "vial_mass", positive_mass, vial_mass, "the mass of a vial")
    _gather(faults, "smallest", exact_mass, smallest, "the smallest net weight")
    if faults:
        raise BadGrid(next(iter(faults.errors.values()))[0], errors=faults.errors)
    _check_count(len(side_a) * len(side_b) * len(ratios))


def _gather(
    faults: Faults, field: str, check: Callable[[Decimal, str], Decimal], value: Decimal, what: str
) -> None:
    try:
        check(value, what)
    except BadNumber as fault:
        faults.add(field, fault.message)
