"""From which lots each odorant line could be poured, and what each way costs: the choices of the weigh programme.

An option is one lot for one line. Poured alone it takes the grams that hold the line's odorant, or, where that is less
than the smallest pour by no more than the tolerance, the smallest pour; otherwise it is flagged. Poured together with
others its share is open. A lot is poured together with others only where no single lot of about its strength, in the
same solvent, holds enough for all lines of the material: nobody pours from two bottles what one bottle gives, and it
keeps the programme small enough to be solved at once.

Options that can never be part of a best plan are left out (`worth_keeping`): another one of the same line is no worse
in every aim, weighs no more, and brings no more of a bounded solvent. That holds only where the mass it frees can
always be filled up with solvent and no other line wants the same lots, so it is done only there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal

import numpy as np

from batches.calc.weigh_request import Want, WeighTask, is_as_written, main_solvent, solvent_share
from batches.calc.weigh_solver import Flags, Floats, Places
from inventory.calc.claims import ShelfLot

SHORTFALL_STEPS = 100
"""A pour below the smallest is counted in whole hundredths of the smallest that it lacks."""
EXCESS_STEPS = 10_000
"""An odorant mass above what is wanted is counted in whole ten-thousandths of it."""
HALF_HAIR = 1e-9
HAIR = 1e-12
"""Relative slack where two exact numbers are compared as floats, so that equal ones count as equal."""


@dataclass(frozen=True, slots=True)
class Options:
    """Parallel arrays, one place per option; `pool` and `wants` are what `lot` and `line` point into.

    `need` is grams of the lot that hold all of the line's odorant, `left` grams of the lot that no pin has taken, `times`
    the multiple of `need` poured when the lot is poured alone; `alone` and `together` say which of the two is possible.
    """

    wants: tuple[Want, ...]
    pool: tuple[ShelfLot, ...]
    line: Places
    lot: Places
    need: Floats
    left: Floats
    low: Floats
    times: Floats
    flagged: Flags
    moved: Flags
    unopened: Flags
    place: Floats
    alone: Flags
    together: Flags
    given: Floats
    """Grams pinned to the option; not a number where the grams are open."""

    def __len__(self) -> int:
        return len(self.line)

    @property
    def shortfall(self) -> Floats:
        """Whole hundredths of the smallest pour that the option lacks when poured alone."""
        return np.where(self.flagged, nearest_step(SHORTFALL_STEPS * (1 - np.minimum(1 / self.low, 1))), 0.0)

    @property
    def excess(self) -> Floats:
        """Whole ten-thousandths of the odorant that the option gives too much when poured alone."""
        return nearest_step(EXCESS_STEPS * (self.times - 1))

    @property
    def grams(self) -> Floats:
        return self.need * self.times

    def narrowed(self, kept: Flags, *, alone: Flags, together: Flags) -> "Options":
        """The kept options, with the ways open to them changed."""
        changed = replace(self, alone=alone, together=together)
        return replace(changed, **{name: getattr(changed, name)[kept] for name in _ARRAYS})


_ARRAYS = tuple(one.name for one in fields(Options) if one.name not in {"wants", "pool"})


def nearest_step(steps: Floats) -> Floats:
    """Whole steps, halves up: aims are counted in steps so that the search ends; the hair keeps exact halves alike."""
    return np.floor(steps + 0.5 + HALF_HAIR)


def options_of(task: WeighTask) -> Options:
    """Every option of the task, whatever it costs; lines whose every gram is pinned have none."""
    pool = tuple(lot for lots in task.shelf.values() for lot in lots)
    where = {lot.id: at for at, lot in enumerate(pool)}
    wants = tuple(want for want in task.odorants if not want.fixed)
    taken = pinned_grams(task)
    rows = [
        (at, where[lot.id], place, want, lot, given)
        for at, want in enumerate(wants)
        for place, lot, given in _lots_for(task, want)
    ]
    odorant = np.array([float(want.odorant) for want in wants])
    line = np.array([row[0] for row in rows], int)
    strength = np.array([float(row[4].strength) for row in rows])
    left = np.array([float(row[4].available - taken.get(row[4].id, Decimal(0))) for row in rows])
    given = np.array([np.nan if row[5] is None else float(row[5]) for row in rows])
    need = odorant[line] / strength if len(rows) else np.zeros(0)
    smallest, tolerance = float(task.request.smallest), float(task.request.tolerance)
    low = smallest / need
    raisable = (low <= (1 + tolerance) * (1 + HAIR)) & (left >= smallest * (1 - HAIR))
    times = np.where(raisable, np.maximum(1.0, low), 1.0)
    least = times if task.rigid else np.where(raisable, np.maximum(1 - tolerance, low), 1 - tolerance)
    pins = np.array([len(row[3].pins) for row in rows], int)
    joins = _joins(task, [row[4] for row in rows])
    same = task.request.same_dilution
    return Options(
        wants=wants,
        pool=pool,
        line=line,
        lot=np.array([row[1] for row in rows], int),
        need=need,
        left=left,
        low=low,
        times=times,
        flagged=~raisable,
        moved=np.array([not is_as_written(row[3].line, row[4], same) for row in rows], bool),
        unopened=np.array([not row[4].opened for row in rows], bool),
        place=np.array([row[2] for row in rows], float),
        alone=(left >= need * least * (1 - HAIR)) & (pins <= 1),
        together=np.where(pins > 0, pins > 1, joins),
        given=given,
    )


def worth_keeping(options: Options, task: WeighTask) -> Flags:
    """False for options poured alone that another of the same line makes needless (see the module's words)."""
    kept = np.ones(len(options), bool)
    bounded = sorted(task.request.solvent_bounds)
    if not task.rigid or not _solvent_is_ample(task) or (bounded and len(task.solvents) > 1):
        return kept
    aims = np.stack(
        [
            options.flagged.astype(float),
            options.shortfall,
            options.moved.astype(float),
            options.excess,
            options.unopened.astype(float),
            options.place,
            options.grams,
            *(_solvent_grams(options, task, solvent) for solvent in bounded),
        ],
        axis=1,
    )
    sole = _sole_lines(task, options.wants)
    for at, only in enumerate(sole):
        mine = np.flatnonzero((options.line == at) & options.alone)
        if only and len(mine) > 1:
            kept[mine] = ~_outdone(aims[mine])
    return kept


def pinned_grams(task: WeighTask) -> Mapping[int, Decimal]:
    """Grams that pins take of each lot."""
    taken: dict[int, Decimal] = {}
    for want in task.wants:
        for pin in want.pins:
            if pin.mass is not None:
                taken[pin.lot] = taken.get(pin.lot, Decimal(0)) + pin.mass
    return taken


def _lots_for(task: WeighTask, want: Want) -> list[tuple[int, ShelfLot, Decimal | None]]:
    """Place in claim order, lot, and pinned grams of every lot the line may be poured from."""
    given = {pin.lot: pin.mass for pin in want.pins}
    return [
        (place, lot, given.get(lot.id))
        for place, lot in enumerate(task.shelf[want.line.material])
        if not want.pins or lot.id in given
    ]


def _joins(task: WeighTask, lots: Sequence[ShelfLot]) -> Flags:
    """Whether each lot may be poured together with others: no lot of about its strength holds enough alone."""
    most = 1 + task.request.tolerance
    wanted: dict[int, Decimal] = {}
    for want in task.odorants:
        wanted[want.line.material] = wanted.get(want.line.material, Decimal(0)) + want.odorant * most
    may: dict[int, bool] = {}
    for material, odorant in wanted.items():
        stand = task.shelf[material]
        strength = np.array([float(lot.strength) for lot in stand])
        solvent = np.array([main_solvent(lot) or 0 for lot in stand], int)
        holds = np.array([float(lot.available * lot.strength) for lot in stand])
        enough = holds >= float(odorant) * (1 - HAIR)
        near = np.abs(strength[:, None] - strength) <= float(task.request.same_dilution) * strength[
            :, None
        ] * (1 + HAIR)
        served = (near & (solvent[:, None] == solvent) & enough).any(axis=1)
        may.update(zip((lot.id for lot in stand), (~served).tolist(), strict=True))
    return np.array([may[lot.id] for lot in lots], bool)


def _sole_lines(task: WeighTask, wants: Sequence[Want]) -> list[bool]:
    """Whether each line is the only one of its material and not pinned."""
    materials = [want.line.material for want in task.wants]
    return [materials.count(want.line.material) == 1 and not want.pins for want in wants]


def _solvent_is_ample(task: WeighTask) -> bool:
    """Every free solvent would suffice if the batch were nothing but free solvent."""
    if any(want.pins for want in task.solvents):
        return False
    wanted: dict[int, Decimal] = {}
    for want in task.solvents:
        wanted[want.line.material] = (
            wanted.get(want.line.material, Decimal(0)) + want.share * task.request.total
        )
    return all(
        sum((lot.available for lot in task.shelf[material]), Decimal(0)) >= grams
        and all(want.line.material != material for want in task.odorants)
        for material, grams in wanted.items()
    )


def _solvent_grams(options: Options, task: WeighTask, solvent: int) -> Floats:
    """Grams of a bounded solvent that an option adds beyond the free solvent it displaces, the less the better.

    Not a number, so that nothing compares, where neither more nor less is better or free solvent is of several kinds.
    """
    bound = task.request.solvent_bounds[solvent]
    free = {solvent_share(lot, solvent) for lot in task.shelf[task.solvents[0].line.material]}
    if len(free) != 1 or (bound.lowest > 0 and bound.highest < 1):
        return np.full(len(options), np.nan)
    shares = np.array([float(solvent_share(lot, solvent)) for lot in options.pool])[options.lot]
    added = options.grams * (shares - float(free.pop()))
    return -added if bound.lowest > 0 else added


def _outdone(aims: Floats) -> Flags:
    """Rows that another row equals or betters everywhere; of equal rows the first stays. No number, no comparison."""
    no_worse = (aims[:, None, :] <= aims[None, :, :]).all(axis=2)
    somewhere_better = (aims[:, None, :] < aims[None, :, :]).any(axis=2)
    earlier = np.triu(np.ones(no_worse.shape, bool), 1)
    return np.asarray((no_worse & (somewhere_better | earlier)).any(axis=0), bool)
