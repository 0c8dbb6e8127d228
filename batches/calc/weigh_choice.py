"""Which plan is the best: the aims in their order, and the two passes that reach them.

The odorants are chosen first. As good as can be, in this order:

1. fewest lines with a pour below the smallest (they are flagged), then the least that those pours lack, in whole
   hundredths of the smallest pour each;
2. fewest lines moved off the dilution as written;
3. the free solvents nearest to their written proportions, where a bound lets them shift at all;
4. the least odorant above what is wanted, in whole ten-thousandths of each line's. Odorant masses are exact unless a
   pour has to be raised to the smallest; the sum stands for the root mean square, because each excess is forced by its
   own pour and a sum stays linear. A formula without free solvent has instead one common factor of all lines within
   the tolerance, nearest to 1;
5. a rest that leaves a smallest pour of each free solvent, then fewest pours, then fewest bottles newly opened;
6. soonest expiry: the places in claim order, lot by lot of each material, add up to the least; where several lines
   share a material, the earlier lot goes to the line that takes more of it.

Then, for the odorants so chosen, the free solvent: fewest pours below the smallest, fewest pours, fewest newly opened,
soonest expiry. A solvent pour that is too small to weigh well spoils the total hardly and the odorants not at all, so it
is flagged but moves no line. Last, where several lots share a line, the earlier in claim order gives as much as it can.

An aim once reached is kept to within 0.3 of a step, which is nothing where it counts whole things; where grams are
open (what split pours lack, shifted solvents, the common factor) the choice of lots may use that much, the grams a
thousandth of a step. Needless splits are left
out (see `weigh_options`), unless without them there is no plan at all, not even one with flagged lines.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from batches.calc.weigh_options import EXCESS_STEPS, SHORTFALL_STEPS, Options, options_of, worth_keeping
from batches.calc.weigh_programme import Draw, WeighProgramme
from batches.calc.weigh_request import WeighTask
from batches.calc.weigh_solver import Aim, Answer, Floats

MASS_STEPS = 1e6
COARSE_MASS_STEPS = 1e3
"""Grams are counted in millionths of the batch when nothing but grams is open, in thousandths before."""


@dataclass(frozen=True, slots=True)
class ChosenPour:
    """Grams of a lot for a line, as the programme found them: not yet on the microgram grid."""

    line: int
    lot: int
    grams: float
    flagged: bool


@dataclass(frozen=True, slots=True)
class Chosen:
    """The pours chosen, the value of every aim, and whether all were proved best."""

    pours: tuple[ChosenPour, ...]
    reached: Mapping[str, float]
    proven: bool


@dataclass(frozen=True, slots=True)
class LotCost:
    """An aim that comes before all others: costs of lots of the pool that are used at all."""

    name: str
    costs: Floats


def choose(
    task: WeighTask,
    *,
    crumbs: bool = True,
    first: Sequence[LotCost] = (),
    draws: Sequence[Draw] = (),
) -> Chosen | None:
    """The best plan of a task, None if there is none. Without `crumbs` no odorant pour may be below the smallest.

    `first` are aims before all others, `draws` lots that would first be made of others; both serve the remedies.
    """
    options = options_of(task)
    lean = options if first or draws else _lean(options, task)
    every = _every(options)
    tries = [(lean, False), *([(lean, True), (every, True)] if crumbs else [])]
    for offered, may_flag in tries:
        chosen = _odorants(task, offered, may_flag, first, draws)
        if chosen is not None:
            return _settled(task, *chosen)
    return None


def can_be_made(task: WeighTask, *, crumbs: bool = True) -> bool:
    """Whether a task has any plan; without `crumbs`, one with no odorant pour below the smallest."""
    options = options_of(task)
    tries = [(_lean(options, task), False), *([(_every(options), True)] if crumbs else [])]
    return any(
        _first_pass(task, offered, may_flag, (), (), only_feasible=True) is not None
        for offered, may_flag in tries
    )


def _lean(options: Options, task: WeighTask) -> Options:
    return options.narrowed(
        np.ones(len(options), bool),
        alone=options.alone & worth_keeping(options, task),
        together=options.together,
    )


def _every(options: Options) -> Options:
    """The options with every split allowed, needless ones too."""
    return options.narrowed(
        np.ones(len(options), bool),
        alone=options.alone,
        together=np.array([len(options.wants[line].pins) != 1 for line in options.line], bool),
    )


def _first_pass(
    task: WeighTask,
    options: Options,
    may_flag: bool,
    first: Sequence[LotCost],
    draws: Sequence[Draw],
    *,
    only_feasible: bool = False,
) -> tuple[WeighProgramme, Options, Answer] | None:
    if not may_flag:
        options = _without_crumbs(options)
    if not _every_line_has_one(options):
        return None
    lines = frozenset(range(len(options.wants))) if may_flag else frozenset()
    found = WeighProgramme(task, options, may_flag=lines, draws=draws)
    aims = [Aim(one.name, *found.use_of_lots(one.costs)) for one in first]
    aims += [*(_flag_aims(found) if may_flag else ()), *_odorant_aims(found)]
    answer = found.programme.solve([] if only_feasible else aims)
    return None if answer is None else (found, options, answer)


def _odorants(
    task: WeighTask, options: Options, may_flag: bool, first: Sequence[LotCost], draws: Sequence[Draw]
) -> tuple[Options, frozenset[int], Answer] | None:
    """First pass: which lots each odorant line is poured from, and which lines are flagged."""
    passed = _first_pass(task, options, may_flag, first, draws)
    if passed is None:
        return None
    found, options, answer = passed
    poured, _ = found.odorants.grams(answer.values)
    kept = np.zeros(len(options), bool)
    kept[poured] = True
    split = np.zeros(len(options), bool)
    split[found.odorants.joint[answer.values[found.odorants.pour] > 0.5]] = True
    flags = found.odorants.split[answer.values[found.odorants.split_flag] > 0.5]
    return options.narrowed(kept, alone=~split, together=split), frozenset(flags.tolist()), answer


def _settled(task: WeighTask, options: Options, flagged: frozenset[int], before: Answer) -> Chosen | None:
    """Second pass: the grams of split lines, and the free solvent."""
    found = WeighProgramme(task, options, may_flag=flagged, settled=True)
    answer = found.programme.solve(_settled_aims(found), fine=True)
    if answer is None:
        return None
    pours = [*_odorant_pours(found, answer, flagged), *_solvent_pours(found, answer)]
    return Chosen(
        tuple(sorted(pours, key=lambda pour: (pour.line, pour.lot))),
        {name: round(value, 6) for name, value in {**before.reached, **answer.reached}.items()},
        before.proven and answer.proven,
    )


def _odorant_pours(found: WeighProgramme, answer: Answer, flagged: frozenset[int]) -> list[ChosenPour]:
    options = found.options
    keys = [want.line.key for want in options.wants]
    poured, grams = found.odorants.grams(answer.values)
    return [
        ChosenPour(
            keys[options.line[at]],
            options.pool[options.lot[at]].id,
            mass,
            bool(options.flagged[at]) if options.alone[at] else int(options.line[at]) in flagged,
        )
        for at, mass in zip(poured.tolist(), grams.tolist(), strict=True)
    ]


def _solvent_pours(found: WeighProgramme, answer: Answer) -> list[ChosenPour]:
    solvents, pool = found.solvents, found.options.pool
    places, grams = solvents.grams(answer.values)
    return [
        ChosenPour(
            solvents.wants[solvents.line[at]].line.key,
            pool[solvents.lot[at]].id,
            mass,
            bool(answer.values[solvents.flag[at]] > 0.5),
        )
        for at, mass in zip(places.tolist(), grams.tolist(), strict=True)
    ]


def _without_crumbs(options: Options) -> Options:
    """The options that give at least a smallest pour, and the pinned ones, which stay whatever they give."""
    pinned = np.array([bool(options.wants[line].pins) for line in options.line], bool)
    return options.narrowed(
        np.ones(len(options), bool),
        alone=options.alone & ~options.flagged,
        together=options.together & (~options.flagged | pinned),
    )


def _every_line_has_one(options: Options) -> bool:
    count = len(options.wants)
    alone = np.bincount(options.line[options.alone], minlength=count)
    together = np.bincount(options.line[options.together], minlength=count)
    return bool(((alone > 0) | (together > 1)).all())


def _flag_aims(found: WeighProgramme) -> list[Aim]:
    options, odorants = found.options, found.odorants
    crumbs = options.flagged[odorants.alone]
    return [
        Aim(
            "flagged",
            np.concatenate([odorants.pick[crumbs], odorants.split_flag]),
            np.ones(int(crumbs.sum()) + len(odorants.split_flag)),
        ),
        _lacking(found),
    ]


def _lacking(found: WeighProgramme) -> Aim:
    options, odorants = found.options, found.odorants
    return Aim(
        "lacking",
        np.concatenate([odorants.pick, odorants.lacking]),
        np.concatenate(
            [options.shortfall[odorants.alone], np.full(len(odorants.lacking), float(SHORTFALL_STEPS))]
        ),
    )


def _odorant_aims(found: WeighProgramme) -> list[Aim]:
    options, odorants = found.options, found.odorants
    places = np.concatenate([options.place[odorants.alone], options.place[odorants.joint]])
    return [
        _moved(found),
        _shift(found),
        _excess(found),
        _rest_pours_openings(found),
        Aim(
            "expiry",
            np.concatenate([odorants.pick, odorants.pour]),
            places,
            floor=_least_per_line(options, options.place, options.place),
        ),
        *_fuller_lots_of_shared_materials(found),
    ]


def _fuller_lots_of_shared_materials(found: WeighProgramme) -> list[Aim]:
    """Where lines share a material, which of them takes the earlier lot: the one that wants more of it."""
    options, odorants = found.options, found.odorants
    materials = np.array([want.line.material for want in options.wants])
    shared = np.array([np.count_nonzero(materials == one) > 1 for one in materials], bool)[options.line]
    if not shared.any():
        return []
    alone, joint = shared[odorants.alone], shared[odorants.joint]
    grams = [options.grams[odorants.alone[alone]], options.need[odorants.joint[joint]]]
    places = [options.place[odorants.alone[alone]], options.place[odorants.joint[joint]]]
    costs = (
        COARSE_MASS_STEPS / float(found.task.request.total) * np.concatenate(grams) * np.concatenate(places)
    )
    return [Aim("larger lines first", np.concatenate([odorants.pick[alone], odorants.share[joint]]), costs)]


def _rest_pours_openings(found: WeighProgramme) -> Aim:
    """A rest too small to pour outweighs any pours, and a pour beyond one per line any bottles newly opened."""
    options, odorants = found.options, found.odorants
    opening, unopened = found.use_of_lots(np.array([not lot.opened for lot in options.pool], float))
    dear = 1 + float(len(np.unique(options.lot[options.unopened])))
    rest = found.solvents.small_rest
    return Aim(
        "rest, pours, openings",
        np.concatenate([rest, odorants.pour, odorants.split_pick, opening]),
        np.concatenate(
            [
                np.full(len(rest), dear * (1 + len(odorants.pour))),
                np.full(len(odorants.pour), dear),
                np.full(len(odorants.split_pick), -dear),
                unopened,
            ]
        ),
    )


def _moved(found: WeighProgramme) -> Aim:
    """Lines with a pour off the dilution as written. A split counts once, however many of its pours are."""
    options, odorants = found.options, found.odorants
    single = odorants.pick[options.moved[odorants.alone]]
    off = np.flatnonzero(options.moved[odorants.joint])
    lines = np.unique(options.line[odorants.joint[off]])
    split = found.programme.columns(len(lines))
    here = np.arange(len(off))
    of_line = split[np.searchsorted(lines, options.line[odorants.joint[off]])]
    found.programme.rows(len(here), -np.inf, 0.0, (here, odorants.pour[off], 1.0), (here, of_line, -1.0))
    columns = np.concatenate([single, split])
    return Aim("moved", columns, np.ones(len(columns)))


def _shift(found: WeighProgramme) -> Aim:
    shift = found.solvents.shift
    return Aim("shift", shift, np.full(len(shift), float(EXCESS_STEPS)))


def _excess(found: WeighProgramme) -> Aim:
    options, odorants = found.options, found.odorants
    columns = np.concatenate([odorants.over, odorants.factor_off])
    costs = np.full(len(columns), float(EXCESS_STEPS))
    if not found.task.rigid:
        return Aim("excess", columns, costs)
    alone = options.excess[odorants.alone]
    return Aim(
        "excess",
        np.concatenate([columns, odorants.pick]),
        np.concatenate([costs, alone]),
        floor=_least_per_line(options, options.excess, np.zeros(len(options))),
    )


def _least_per_line(options: Options, alone: Floats, together: Floats) -> float:
    """What no choice falls below: the least cost of each line, added up."""
    least = np.full(len(options.wants), np.inf)
    np.minimum.at(least, options.line[options.alone], alone[options.alone])
    np.minimum.at(least, options.line[options.together], together[options.together])
    return float(least.sum())


def _settled_aims(found: WeighProgramme) -> list[Aim]:
    """Grams of split lines, then the free solvent, then the earlier lots of each line as full as they can be."""
    solvents, odorants, options = found.solvents, found.odorants, found.options
    cost = np.array([not lot.opened for lot in options.pool], float)
    cost[options.lot] = 0.0
    opening = found.use_of_lots(cost)
    count = len(solvents.pour)
    dear = float(count + 1)
    columns = np.concatenate([solvents.flag, solvents.pour, opening[0]])
    costs = np.concatenate([np.full(count, dear * dear), np.full(count, dear), opening[1]])
    joint_grams = options.need[odorants.joint] / float(found.task.request.total)
    return [
        _lacking(found),
        _shift(found),
        _excess(found),
        Aim("small rest", solvents.small_rest, np.ones(len(solvents.small_rest))),
        Aim("solvent pours", columns, costs),
        Aim("solvent expiry", solvents.pour, solvents.place),
        Aim(
            "earlier lots fuller",
            np.concatenate([odorants.share, solvents.share]),
            np.concatenate(
                [MASS_STEPS * options.place[odorants.joint] * joint_grams, MASS_STEPS * solvents.place]
            ),
        ),
    ]
