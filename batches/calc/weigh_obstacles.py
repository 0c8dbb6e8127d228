"""Why there is no weigh plan, in numbers: what is missing, how strong the shelf can make it, which lines hold it down.

Missing material is a sum per material. Everything else comes from a linear programme without whole columns (`reach`): the
strongest batch of this mass that the lots, the free solvents and, if asked, the bounds allow, splits and small pours
included. Its optimum tells the obstacles apart: asked again without the bounds or with solvent enough for anything,
it shows which of them stood in the way.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from batches.calc.weigh_options import options_of
from batches.calc.weigh_programme import fixed_pours, tie_together
from batches.calc.weigh_request import Want, WeighTask, solvent_share
from batches.calc.weigh_solvent_columns import SolventColumns
from batches.calc.weigh_solver import Aim, Part, Programme
from inventory.calc.claims import ShelfLot
from inventory.calc.wording import figure, listed, percent, readable
from studio.kernel.errors import Conflict
from studio.kernel.mass import nearest_fraction, nearest_mass

NOTHING = Decimal(0)
MOST_NAMED = 5
"""So many lines are named as holding the strength down; further ones carry less."""
HAIR = 1e-9
ReasonKind = Literal["vessel", "missing", "strength", "solvent", "bound", "total"]


@dataclass(frozen=True, slots=True)
class Reason:
    """One obstacle. `wanted` and `reached` are what is asked for and what is possible: fractions for the kinds strength
    and bound, grams otherwise (for missing, of odorant). `lines` and `lots` are those concerned, the worst first.
    """

    kind: ReasonKind
    wanted: Decimal
    reached: Decimal
    lines: tuple[int, ...]
    lots: tuple[int, ...]
    sentence: str


class NoPlan(Conflict):
    """Nothing on the shelf fits. `reasons` say why in numbers, `remedies` what would help, the smallest first."""

    code = "no-weigh-plan"
    title = "Nothing on the shelf fits"

    def __init__(self, reasons: tuple[Reason, ...], remedies: tuple[Any, ...]) -> None:
        super().__init__(
            " ".join(one.sentence for one in (*reasons, *remedies[:1])),
            reasons=[asdict(one) for one in reasons],
            remedies=[asdict(one) for one in remedies],
        )
        self.reasons = reasons
        self.remedies = remedies


@dataclass(frozen=True, slots=True)
class Reach:
    """The strongest batch of the wanted mass: its strength, the wanted odorants' common factor, solvent carried per line."""

    strength: float
    factor: float
    carried: tuple[tuple[int, float], ...]


def too_much_for_vessel(task: WeighTask) -> Reason | None:
    """The reason when the batch is more than vessel and balance carry."""
    largest, total = task.request.largest_total, task.request.total
    if largest is None or total <= largest:
        return None
    return Reason(
        "vessel",
        total,
        largest,
        (),
        (),
        f"{figure(total)} g are wanted; vessel and balance carry {figure(largest)} g.",
    )


def off_the_grid(task: WeighTask) -> Reason:
    """The reason when a plan exists but pins and lots leave no room for the last micrograms."""
    total = task.request.total
    return Reason(
        "total",
        total,
        total,
        (),
        (),
        f"Pinned masses and lots that are used up leave no room to make up {figure(total)} g to the microgram.",
    )


def obstacles(task: WeighTask) -> tuple[Reason, ...]:
    """Why there is no plan, at least one reason. See the module's words."""
    missing = _missing(task)
    if missing:
        return missing
    least = 1 - (0.0 if task.rigid else float(task.request.tolerance))
    loose = reach(task, bounds=False, endless_solvent=True)
    if loose is not None and loose.factor < least - HAIR:
        return (_too_strong(task, loose),)
    if loose is None or not _possible(with_endless_solvent(task), bounds=False):
        return (_does_not_add_up(task),)
    if not _possible(task, bounds=False):
        return _missing_solvent(task) or (_does_not_add_up(task),)
    if not _possible(task, bounds=True):
        return (_out_of_bounds(task),)
    return (_does_not_add_up(task),)


def _possible(task: WeighTask, *, bounds: bool) -> bool:
    """Whether lots, free solvent and, if asked, bounds allow the strength wanted, small pours and splits included."""
    return _Loose(task, bounds=bounds, factors=_wanted_factors(task)).programme.solve([]) is not None


def _wanted_factors(task: WeighTask) -> tuple[float, float]:
    """Multiples of the wanted odorants that count as what is wanted."""
    room = 0.0 if task.rigid else float(task.request.tolerance)
    return 1 - room, 1 + room


def reach(task: WeighTask, *, bounds: bool = True, endless_solvent: bool = False) -> Reach | None:
    """The strongest batch of the task's mass when only lots, free solvent and, if asked, bounds limit it; None if none."""
    found = _Loose(with_endless_solvent(task) if endless_solvent else task, bounds=bounds)
    answer = found.programme.solve([Aim("strength", found.factor, np.array([-1.0]))])
    if answer is None:
        return None
    factor = float(answer.values[found.factor][0])
    options = found.options
    grams = answer.values[found.share] * options.need
    weak = np.array([1 - float(lot.strength) for lot in options.pool])[options.lot]
    carried = np.bincount(options.line, grams * weak, minlength=len(options.wants))
    keys = [want.line.key for want in options.wants]
    odorant = sum(float(want.odorant) for want in options.wants) * factor
    odorant += float(sum((lot.strength * mass for lot, mass in fixed_odorants(task)), NOTHING))
    return Reach(
        strength=odorant / float(task.request.total),
        factor=factor,
        carried=tuple(
            sorted(zip(keys, carried.tolist(), strict=True), key=lambda one: (-round(one[1], 9), one[0]))
        ),
    )


def strengths_without_free_solvent(task: WeighTask) -> tuple[Decimal, Decimal] | None:
    """Weakest and strongest that the lots make when nothing but odorant lines fills the batch; None if nothing does."""
    ends = []
    for sign in (1.0, -1.0):
        found = _Loose(task, bounds=True)
        answer = found.programme.solve([Aim("strength", found.factor, np.array([sign]))])
        if answer is None:
            return None
        ends.append(nearest_fraction(Decimal(float(answer.values[found.factor][0])) * task.strength))
    return ends[0], ends[1]


def fixed_odorants(task: WeighTask) -> list[tuple[ShelfLot, Decimal]]:
    """Lots and grams of the odorant lines whose every gram is pinned."""
    solvents = {want.line.material for want in task.solvents}
    return [(lot, mass) for lot, mass in fixed_pours(task) if lot.material not in solvents]


def with_endless_solvent(task: WeighTask) -> WeighTask:
    """The task with enough of every free solvent for the whole batch, last in claim order; those lots have ids below 0."""
    shelf, lots = dict(task.shelf), dict(task.lots)
    for want in task.solvents:
        material = want.line.material
        if any(lot.id < 0 for lot in shelf[material]):
            continue
        lot = ShelfLot(-1 - len(lots), "", material, Decimal(1), {material: Decimal(1)}, task.request.total)
        shelf[material] = (*shelf[material], lot)
        lots[lot.id] = lot
    return replace(task, shelf=shelf, lots=lots)


class _Loose:
    """The weigh programme without whole columns: every lot may give any part of any line of its material."""

    def __init__(self, task: WeighTask, *, bounds: bool, factors: tuple[float, float] | None = None) -> None:
        self.programme = Programme()
        self.options = options_of(task)
        options = self.options
        given = options.given / options.need
        pinned = ~np.isnan(given)
        room = np.maximum(options.left, 0.0) / options.need
        self.share = self.programme.columns(
            len(options), np.where(pinned, given, 0.0), np.where(pinned, given, room)
        )
        self.factor = self.programme.columns(1, *(factors or (0.0, 1 / float(task.strength))))
        lines = np.arange(len(options.wants))
        self.programme.rows(
            len(lines),
            0.0,
            0.0,
            (options.line, self.share, 1.0),
            (lines, np.repeat(self.factor, len(lines)), -1.0),
        )
        self.solvents = SolventColumns(self.programme, task, options.pool, settled=False)
        own = Part(self.share, options.need, options.lot, options.line, ~pinned)
        self.parts = [own, self.solvents.part(len(options.wants))]
        tie_together(self.programme, task, options.pool, self.parts, bounds=bounds)


def _missing(task: WeighTask) -> tuple[Reason, ...]:
    """Materials of which the shelf has less odorant than the lines want."""
    least = 1 - (NOTHING if task.rigid else task.request.tolerance)
    wants: dict[int, list[Want]] = {}
    for want in task.odorants:
        wants.setdefault(want.line.material, []).append(want)
    reasons = []
    for material, lines in wants.items():
        wanted = sum((want.odorant for want in lines if not want.fixed), NOTHING)
        taken = sum(
            (pin.mass or NOTHING) * task.lots[pin.lot].strength
            for want in lines
            if want.fixed
            for pin in want.pins
        )
        there = sum((lot.available * lot.strength for lot in task.shelf[material]), NOTHING) - taken
        pinned = [
            want
            for want in lines
            if want.pins and not want.fixed and _pinned_supply(task, want) < want.odorant * least
        ]
        if there < wanted * least or pinned:
            reasons.append(_missing_reason(task, pinned or lines, wanted, there))
    return tuple(reasons)


def _pinned_supply(task: WeighTask, want: Want) -> Decimal:
    return sum((task.lots[pin.lot].available * task.lots[pin.lot].strength for pin in want.pins), NOTHING)


def _missing_reason(task: WeighTask, wants: Sequence[Want], wanted: Decimal, there: Decimal) -> Reason:
    line = wants[0].line
    if wants[0].pins:
        wanted = sum((want.odorant for want in wants), NOTHING)
        there = sum((_pinned_supply(task, want) for want in wants), NOTHING)
    refused, not_counted = _refused(task, line.material)
    more = (wanted - there) / line.strength
    return Reason(
        "missing",
        nearest_mass(wanted),
        nearest_mass(there),
        tuple(want.line.key for want in wants),
        tuple(lot.id for lot in refused),
        f"{line.name}: {readable(wanted)} g of odorant are wanted, {readable(there)} g are there"
        f"{' in the pinned lots' if wants[0].pins else ''}; {readable(more)} g at {percent(line.strength)} are missing."
        f"{not_counted}",
    )


def _refused(task: WeighTask, material: int) -> tuple[list[ShelfLot], str]:
    """Lots of a material that hold something but may not be used, and a sentence that names them."""
    request = task.request
    refused = [
        lot
        for lot in request.lots
        if lot.material == material
        and lot.available > 0
        and lot.unusable_because(request.on)
        and lot.id not in request.allowed_lots
    ]
    named = [
        f"lot {lot.number} with {figure(lot.available)} g {lot.unusable_because(request.on)}"
        for lot in refused
    ]
    return refused, f" Not counted: {listed(named)}." if named else ""


def _too_strong(task: WeighTask, reached: Reach) -> Reason:
    names = {want.line.key: want.line.name for want in task.wants}
    heavy = [(key, grams) for key, grams in reached.carried if grams > float(task.request.total) * 1e-6]
    most = [f"{names[key]} ({readable(Decimal(grams))} g)" for key, grams in heavy[:MOST_NAMED]]
    return Reason(
        "strength",
        nearest_fraction(task.strength),
        nearest_fraction(Decimal(reached.strength)),
        tuple(key for key, _ in heavy),
        (),
        f"{percent(task.strength)} is wanted; the lots on the shelf reach {percent(Decimal(reached.strength))}"
        + (f". Most solvent comes even then with {listed(most)}." if most else "."),
    )


def _missing_solvent(task: WeighTask) -> tuple[Reason, ...]:
    """Grams of each free solvent that the shelf does not have, at the least for the strength wanted."""
    endless = with_endless_solvent(task)
    found = _Loose(endless, bounds=False, factors=_wanted_factors(task))
    bought = np.array([lot.id < 0 for lot in found.options.pool])[found.solvents.lot]
    aim = Aim("missing", found.solvents.share[bought], np.full(int(bought.sum()), 1e6))
    answer = found.programme.solve([aim])
    if answer is None:
        return ()
    reasons = []
    grams = answer.values[found.solvents.share] * float(task.request.total)
    for at, want in enumerate(found.solvents.wants):
        mine = found.solvents.line == at
        missing = nearest_mass(Decimal(float(grams[mine & bought].sum())))
        wanted = nearest_mass(Decimal(float(grams[mine].sum())))
        if missing > 0:
            refused, not_counted = _refused(task, want.line.material)
            reasons.append(
                Reason(
                    "solvent",
                    wanted,
                    wanted - missing,
                    (want.line.key,),
                    tuple(lot.id for lot in refused),
                    f"{want.line.name}: {readable(wanted)} g are wanted to make up the batch, "
                    f"{readable(wanted - missing)} g are there; {readable(missing)} g are missing.{not_counted}",
                )
            )
    return tuple(reasons)


def _out_of_bounds(task: WeighTask) -> Reason:
    """The bounded solvent that, at the strength wanted and without bounds, stays farthest from its bound."""
    worst: tuple[Decimal, int, Decimal, Decimal] | None = None
    for solvent, bound in sorted(task.request.solvent_bounds.items()):
        for sign, wanted in ((1, bound.highest), (-1, bound.lowest)):
            share = _nearest_share(task, solvent, sign)
            miss = (share - wanted) * sign
            if worst is None or miss > worst[0]:
                worst = (miss, solvent, wanted, share)
    assert worst is not None
    miss, solvent, wanted, share = worst
    names = {want.line.material: want.line.name for want in task.wants}
    name = names.get(solvent, f"solvent {solvent}")
    if miss <= 0:
        sentence = "Each bound on a solvent can be met, but not all of them together at this strength."
    else:
        side = "at most" if share > wanted else "at least"
        sentence = f"{name}: {side} {percent(wanted)} is wanted; the lots on the shelf come to {percent(share)} at best."
    return Reason("bound", wanted, share, (), (), sentence)


def _nearest_share(task: WeighTask, solvent: int, sign: int) -> Decimal:
    """The smallest (sign 1) or largest (sign −1) share of a solvent that the lots allow when nothing is bounded."""
    found = _Loose(task, bounds=False, factors=_wanted_factors(task))
    pool = found.options.pool
    shares = np.array([float(solvent_share(lot, solvent)) for lot in pool])
    total = task.request.total
    columns = np.concatenate([part.columns for part in found.parts])
    costs = np.concatenate([part.grams / float(total) * shares[part.lots] for part in found.parts])
    answer = found.programme.solve([Aim("share", columns, sign * costs)])
    fixed = sum((mass * solvent_share(lot, solvent) for lot, mass in fixed_pours(task)), NOTHING)
    own = 0.0 if answer is None else float(answer.values[columns] @ costs)
    return nearest_fraction(Decimal(own) + fixed / total)


def _does_not_add_up(task: WeighTask) -> Reason:
    """Pins, or a formula without free solvent, leave no way to come to the batch mass."""
    total = task.request.total
    fixed = sum((mass for _, mass in fixed_pours(task)), NOTHING)
    ends = None if task.rigid or fixed else strengths_without_free_solvent(task)
    why = "The pours that the smallest sensible mass and the pins allow do not fit together."
    if fixed:
        why = f"{figure(fixed)} g of it are pinned; change the pins, or unpin a line."
    elif ends is not None:
        why = (
            f"Without a free solvent line these lots make {percent(ends[0])} at the weakest and {percent(ends[1])} "
            f"at the strongest, and {percent(task.strength)} is wanted; add free solvent, or ask for what they make."
        )
    elif not task.rigid:
        why = "There is no free solvent line to take up the rest; add one."
    return Reason("total", total, fixed, (), (), f"No pours of these lots add up to {figure(total)} g. {why}")
