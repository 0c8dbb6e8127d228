"""What would help where there is no plan, or none without pours too small to weigh well: the smallest remedies found.

- a new dilution: one programme over the shelf and over stocks of usual strengths that could be made of its lots, where
  the fewest stocks to make come before all other aims (for stocks to be got, the same with stocks from outside);
- another batch mass or another strength: tried in steps until a plan is found, then halved towards what was asked.
  What fits is not one interval, so the figure is the nearest one found, not the nearest there is.

Every remedy is tried before it is offered: with it carried out there is a plan.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

import numpy as np

from batches.calc.dilution_routes import ROUND_SIZES
from batches.calc.weigh_choice import LotCost, can_be_made, choose
from batches.calc.weigh_explain import Flag
from batches.calc.weigh_obstacles import Reason, reach, strengths_without_free_solvent
from batches.calc.weigh_programme import Draw
from batches.calc.weigh_request import Want, WeighRequest, WeighTask, main_solvent, prepare
from inventory.calc.claims import ShelfLot
from inventory.calc.wording import figure, percent
from studio.kernel.mass import LARGEST_MASS, MICROGRAM, STRENGTH_STEP, nearest_fraction

NOTHING = Decimal(0)
USUAL_STRENGTHS = tuple(Decimal(text) for text in ("1", "0.5", "0.2", "0.1", "0.05", "0.02", "0.01", "0.001"))
"""Strengths a new stock is proposed at, beside those the formula is written in. Common practice."""
HANDY_MASS = Decimal("0.01")
HANDY_STRENGTH = Decimal("0.0001")
LARGEST_STOCK = ROUND_SIZES[-1]
"""Grams up to which a stock is made larger only so that its making can be weighed; the largest size of a route's steps."""
MOST_LINES = 24
"""Lines for which new stocks are tried: those with the reason against them first, then those that carry most solvent."""
LARGER = tuple(Decimal(text) for text in ("1.1", "1.25", "1.5", "2", "3", "5", "8", "12", "20", "50"))
WEAKER = tuple(
    Decimal(text) for text in ("0.95", "0.9", "0.8", "0.7", "0.6", "0.5", "0.4", "0.3", "0.2", "0.1")
)
HALVINGS = 5


@dataclass(frozen=True, slots=True)
class NewStock:
    """A stock that would make a plan possible: `grams` of a material at `strength` in `solvent`.

    Made from `parent_grams` of the lot `parent` and `solvent_grams`; `parent` None means it has to be got from outside.
    """

    kind: Literal["make", "get"]
    material: int
    lines: tuple[int, ...]
    strength: Decimal
    solvent: int | None
    grams: Decimal
    parent: int | None
    parent_grams: Decimal
    solvent_grams: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class OtherMass:
    """A batch mass, in grams, for which there is a plan."""

    kind: Literal["mass"]
    total: Decimal
    sentence: str


@dataclass(frozen=True, slots=True)
class OtherStrength:
    """A strength for which there is a plan at the mass wanted."""

    kind: Literal["strength"]
    strength: Decimal
    sentence: str


Remedy = NewStock | OtherMass | OtherStrength


def remedies_without_plan(request: WeighRequest, reasons: Sequence[Reason]) -> tuple[Remedy, ...]:
    """What would make a plan possible, given why there is none: stocks to get, a smaller batch, a lower strength."""
    kinds = {reason.kind for reason in reasons}
    if "vessel" in kinds:
        return _as_large_as_the_vessel(request)
    task = prepare(request)
    found: list[Remedy] = []
    if kinds & {"missing", "strength"}:
        lines = [line for reason in reasons for line in reason.lines]
        found += _new_stocks(task, lines, from_shelf=False)
    if kinds & {"missing", "solvent"}:
        found += _smaller_mass(request, reasons)
    if kinds & {"missing", "strength", "bound"}:
        found += _lower_strength(request, task)
    if "total" in kinds and not task.rigid:
        found += _strength_without_free_solvent(request, task)
    return tuple(found)


def remedies_for_flags(request: WeighRequest, flags: Sequence[Flag]) -> tuple[Remedy, ...]:
    """What would spare a plan its odorant pours below the smallest: stocks to make, a larger batch, a lower strength.

    Empty when no odorant pour is flagged: a small pour of free solvent spoils nothing.
    """
    task = prepare(request)
    solvents = {want.line.key for want in task.solvents}
    lines = [flag.line for flag in flags if flag.line not in solvents]
    if not lines:
        return ()
    found: list[Remedy] = [*_new_stocks(task, lines, from_shelf=True)]
    larger = _nearest(
        request.total,
        (rounded_up(request.total * step, HANDY_MASS) for step in LARGER),
        lambda total: _fits(replace(request, total=total), crumbs=False),
        HANDY_MASS,
    )
    if larger is not None:
        found.append(
            OtherMass(
                "mass",
                larger,
                f"A batch of {figure(larger)} g can be weighed without an odorant pour that is too small.",
            )
        )
    weaker = _nearest(
        task.strength,
        (rounded_down(task.strength * step, HANDY_STRENGTH) for step in WEAKER),
        lambda strength: _fits(replace(request, strength=strength), crumbs=False),
        HANDY_STRENGTH,
    )
    if weaker is not None:
        found.append(
            OtherStrength(
                "strength", weaker, f"At {percent(weaker)} every odorant pour is large enough to weigh well."
            )
        )
    return tuple(found)


def rounded_up(value: Decimal, step: Decimal) -> Decimal:
    """Up to the next handy figure: for amounts to make or get, of which too little would not help."""
    return (value / step).to_integral_value(ROUND_CEILING) * step


def rounded_down(value: Decimal, step: Decimal) -> Decimal:
    """Down to the next handy figure: for what the shelf can give, of which more would not fit."""
    return (value / step).to_integral_value(ROUND_FLOOR) * step


def _fits(request: WeighRequest, *, crumbs: bool) -> bool:
    largest = request.largest_total
    if not 0 < request.total <= (LARGEST_MASS if largest is None else largest):
        return False
    if request.strength is not None and not 0 < request.strength <= 1:
        return False
    return can_be_made(prepare(request), crumbs=crumbs)


def _nearest(
    asked: Decimal, steps: Iterable[Decimal], fits: Callable[[Decimal], bool], handy: Decimal
) -> Decimal | None:
    """The first of `steps` that fits, brought nearer to `asked` by halving; always one that was seen to fit."""
    before = asked
    for step in steps:
        if not fits(step):
            before = step
            continue
        near = step
        for _ in range(HALVINGS):
            middle = ((before + near) / 2 / handy).to_integral_value() * handy
            if middle in {before, near}:
                break
            if fits(middle):
                near = middle
            else:
                before = middle
        return near
    return None


def _as_large_as_the_vessel(request: WeighRequest) -> tuple[Remedy, ...]:
    largest = request.largest_total
    if largest is None or not _fits(replace(request, total=largest), crumbs=True):
        return ()
    return (OtherMass("mass", largest, f"{figure(largest)} g fit, and there is a plan for them."),)


def _smaller_mass(request: WeighRequest, reasons: Sequence[Reason]) -> list[Remedy]:
    """As much as the scarcest material is enough for."""
    part = min(reason.reached / reason.wanted for reason in reasons if reason.wanted > 0)
    total = rounded_down(request.total * part, HANDY_MASS)
    if not _fits(replace(request, total=total), crumbs=True):
        return []
    return [OtherMass("mass", total, f"What is there is enough for a batch of {figure(total)} g.")]


def _lower_strength(request: WeighRequest, task: WeighTask) -> list[Remedy]:
    """The strongest that lots, free solvent and bounds allow."""
    reached = reach(task) if task.rigid else None
    if reached is None:
        return []
    for step in (HANDY_STRENGTH, STRENGTH_STEP):
        strength = rounded_down(Decimal(reached.strength) - STRENGTH_STEP, step)
        if strength < task.strength and _fits(replace(request, strength=strength), crumbs=True):
            return [
                OtherStrength(
                    "strength",
                    strength,
                    f"At {percent(strength)} there is a plan for {figure(request.total)} g.",
                )
            ]
    return []


def _strength_without_free_solvent(request: WeighRequest, task: WeighTask) -> list[Remedy]:
    """The strength nearest to what is wanted that the lots make by themselves."""
    ends = strengths_without_free_solvent(task)
    if ends is None or request.pins:
        return []
    low, high = ends
    for step in (HANDY_STRENGTH, STRENGTH_STEP):
        near = rounded_up(low, step) if task.strength < low else rounded_down(high, step)
        if low <= near <= high and _fits(replace(request, strength=near), crumbs=True):
            return [
                OtherStrength(
                    "strength", near, f"At {percent(near)} there is a plan for {figure(request.total)} g."
                )
            ]
    return []


def _new_stocks(task: WeighTask, lines: Sequence[int], *, from_shelf: bool) -> list[Remedy]:
    """The fewest stocks of usual strengths that make a plan without crumbs possible, or, got from outside, any plan."""
    offered = _offered(task, _concerned(task, lines), from_shelf)
    if not offered:
        return []
    shelf = {
        material: (*lots, *(one for one, _ in offered if one.material == material))
        for material, lots in task.shelf.items()
    }
    trial = replace(task, shelf=shelf, lots={**task.lots, **{one.id: one for one, _ in offered}})
    pool = [lot.id for lots in shelf.values() for lot in lots]
    draws = [
        Draw(pool.index(one.id), pool.index(parent.id), float(one.strength / parent.strength))
        for one, parent in offered
        if parent is not None
    ]
    first = LotCost("new stocks", np.array([float(lot < 0) for lot in pool]))
    chosen = choose(trial, crumbs=False, first=[first], draws=draws)
    if chosen is None and not from_shelf:
        chosen = choose(trial, first=[first], draws=draws)
    if chosen is None:
        return []
    grams: dict[int, Decimal] = {}
    for pour in chosen.pours:
        if pour.lot < 0:
            grams[pour.lot] = grams.get(pour.lot, NOTHING) + Decimal(pour.grams)
    stocks = [
        _stock(task, one, parent, grams[one.id], sorted({p.line for p in chosen.pours if p.lot == one.id}))
        for one, parent in offered
        if one.id in grams
    ]
    return list(stocks) if _help(task, stocks, crumbs=not from_shelf) else []


def _concerned(task: WeighTask, lines: Sequence[int]) -> list[Want]:
    """The lines for which new stocks are tried."""
    open_wants = [want for want in task.odorants if not want.pins]
    heavy = sorted(open_wants, key=lambda want: (want.odorant - want.as_written, want.line.key))
    named = [want for want in open_wants if want.line.key in set(lines)]
    chosen = [*named, *(want for want in heavy if want not in named)][: max(MOST_LINES, len(named))]
    return sorted(chosen, key=lambda want: want.line.key)


def _offered(
    task: WeighTask, wants: Sequence[Want], from_shelf: bool
) -> list[tuple[ShelfLot, ShelfLot | None]]:
    """Stocks that could be made of a lot on the shelf, with that lot; or that could be got, with None."""
    written: dict[int, set[Decimal]] = {}
    for want in wants:
        written.setdefault(want.line.material, set()).add(want.line.strength)
    solvent_of = {want.line.material: _solvent_for(task, want) for want in reversed(wants)}
    offered: list[tuple[ShelfLot, ShelfLot | None]] = []
    for material, strengths in written.items():
        for strength in sorted({*USUAL_STRENGTHS, *strengths}, reverse=True):
            parent = _parent(task, material, strength) if from_shelf else None
            if from_shelf and parent is None:
                continue
            number = -1 - len(offered)
            offered.append(
                (_stock_lot(number, material, strength, solvent_of[material], parent, task), parent)
            )
    return offered


def _solvent_for(task: WeighTask, want: Want) -> int | None:
    """The solvent the line is written in, else the first free solvent of the formula."""
    if want.line.solvent is not None:
        return want.line.solvent
    return task.solvents[0].line.material if task.solvents else None


def _parent(task: WeighTask, material: int, strength: Decimal) -> ShelfLot | None:
    """The lot that a stock would be made from: clearly stronger, and of those the one with most odorant in it."""
    least = strength * (1 + task.request.same_dilution)
    fit = [
        lot for lot in task.shelf[material] if lot.strength > least and lot.available >= task.request.smallest
    ]
    return max(fit, key=lambda lot: (lot.available * lot.strength, -lot.id), default=None)


def _stock_lot(
    number: int,
    material: int,
    strength: Decimal,
    solvent: int | None,
    parent: ShelfLot | None,
    task: WeighTask,
) -> ShelfLot:
    """The stock as a lot; contents by what it would be made of."""
    part = strength / parent.strength if parent else strength
    solvents = {key: share * part for key, share in parent.solvents.items()} if parent else {}
    if solvent is not None and part < 1:
        solvents[solvent] = solvents.get(solvent, NOTHING) + 1 - part
    most = parent.available / part if parent else task.request.total
    return ShelfLot(
        number,
        "",
        material,
        strength,
        {key: nearest_fraction(share) for key, share in solvents.items()},
        min(most, task.request.total),
        opened=True,
    )


def _stock(
    task: WeighTask, lot: ShelfLot, parent: ShelfLot | None, grams: Decimal, lines: list[int]
) -> NewStock:
    """How much of the stock, so that its own making can be weighed as well; beyond a handy size, in steps."""
    name = next(want.line.name for want in task.wants if want.line.key == lines[0])
    solvent = main_solvent(lot)
    if parent is None:
        amount = rounded_up(grams, HANDY_MASS)
        sentence = (
            f"Get {figure(amount)} g of {name}{'' if lot.strength == 1 else f' at {percent(lot.strength)}'}; "
            "with it there is a plan."
        )
        return NewStock(
            "get", lot.material, tuple(lines), lot.strength, solvent, amount, None, NOTHING, NOTHING, sentence
        )
    part = lot.strength / parent.strength
    needed = rounded_up(grams, HANDY_MASS)
    in_one_step = rounded_up(max(grams, task.request.smallest / min(part, 1 - part)), HANDY_MASS)
    handy = in_one_step <= max(needed, LARGEST_STOCK)
    amount = in_one_step if handy else needed
    own = (amount * part).quantize(MICROGRAM, rounding=ROUND_CEILING)
    return NewStock(
        kind="make",
        material=lot.material,
        lines=tuple(lines),
        strength=lot.strength,
        solvent=solvent,
        grams=amount,
        parent=parent.id,
        parent_grams=own,
        solvent_grams=amount - own,
        sentence=(
            f"Make {figure(amount)} g of {name} at {percent(lot.strength)} from {figure(own)} g of lot {parent.number} "
            f"and {figure(amount - own)} g of solvent; with it every odorant can be weighed well."
            if handy
            else f"Make {figure(amount)} g of {name} at {percent(lot.strength)} from lot {parent.number} by way of an "
            f"intermediate stock, or on a less coarse balance: in one step on this one it would have to be "
            f"{figure(in_one_step)} g. With it every odorant can be weighed well."
        ),
    )


def _help(task: WeighTask, stocks: Sequence[NewStock], *, crumbs: bool) -> bool:
    """Whether there is a plan once the stocks stand on the shelf and their parents have given what they take."""
    lots = dict(task.lots)
    for at, stock in enumerate(stocks):
        parent = lots[stock.parent] if stock.parent is not None else None
        if parent is not None:
            if stock.parent_grams > parent.available:
                return False
            lots[parent.id] = replace(parent, available=parent.available - stock.parent_grams)
        made = _stock_lot(-1 - at, stock.material, stock.strength, stock.solvent, parent, task)
        lots[made.id] = replace(made, available=stock.grams)
    return _fits(replace(task.request, lots=tuple(lots.values())), crumbs=crumbs)
