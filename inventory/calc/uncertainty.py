"""Standard uncertainty of what a lot contains, carried through its whole ancestry to first order.

Every weighing, every declared purity and every loss of solvent in the ancestry is one independent source of
variance (JCGM 100, the GUM, 5.1.2). A source *s* with standard uncertainty *u* reaches the target along many
paths when ancestors are shared; its effects along them add up before they are squared, which is what makes
shared ancestors correlated:

    weighing of *m* from *i* into *k*     *w*ₖ · (*x*ᵢⱼ − *f*ₖⱼ)/*M*ₖ · *u*(*m*)
    purity of a bottle *b*                *w*_b · *u*(*x*)
    loss of solvent, factor κ             *w*ₖ · d*f*ₖ/dκ · *u*(κ)

with the weights *w* = d*f*(target)/d*f*(lot) of `inventory.calc.sensitivity`; *u*(*f*ⱼ)² is the sum of the
squares. Carrying a column per source forwards gives the same at many times the cost, following paths doubles
at every rung of a ladder, and drawing random numbers is neither exact nor the same twice. The contents are
taken as given: their rounding to nine places is no source.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import chain
from math import hypot

import numpy as np

from inventory.calc.lineage import making_order
from inventory.calc.sensitivity import Drying, Floats, drying_between, weights_of
from studio.kernel.errors import Invalid
from studio.kernel.mass import BadNumber, nearest_fraction

Node = tuple[int, int]
"""(lot id, revision of its contents); revision 0 is the lot as made or received."""
Contents = Mapping[Node, Mapping[int, Decimal]]
"""Mass fraction by material id."""

UNCERTAINTY_STEP = Decimal("1e-12")
_WHOLE_WITHIN = 1e-6


class ContentsMissing(Invalid):
    """Lots of the ancestry whose contents are not given."""

    code = "contents-missing"
    title = "Contents of an ancestor are missing"


class ContentsUnbalanced(Invalid):
    """Contents of a lot that do not add up to 1."""

    code = "contents-unbalanced"
    title = "Contents do not add up"


class SourceContradictory(Invalid):
    """A purity or a loss that does not fit the lot it is given for, or is given twice."""

    code = "source-contradictory"
    title = "Source of uncertainty does not fit"


@dataclass(frozen=True, slots=True)
class Weighing:
    """Grams of lot `source`, with its contents at `source_revision`, that went into lot `target`.

    `standard_uncertainty` is that of the net mass, in grams. Drawing off is a single weighing into the new lot,
    and has no effect, for the contents stay the same.
    """

    source: int
    source_revision: int
    target: int
    mass: Decimal
    standard_uncertainty: Decimal


@dataclass(frozen=True, slots=True)
class Purity:
    """Standard uncertainty of the fraction of one material in a bottle.

    What else the bottle holds without an uncertainty of its own makes up the difference, in proportion. Where
    there is nothing else, the difference is something its paper does not name, and does not evaporate.
    """

    lot: int
    material: int
    standard_uncertainty: Decimal


@dataclass(frozen=True, slots=True)
class Loss:
    """The two masses, in grams, whose ratio book/actual gave `revision` of a lot its factor κ.

    Both count as independent of the weighings that made the lot: `book_uncertainty` holds what is uncertain
    about the mass in the book apart from those.
    """

    lot: int
    revision: int
    book: Decimal
    actual: Decimal
    book_uncertainty: Decimal
    actual_uncertainty: Decimal


Source = Weighing | Purity | Loss


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one source adds to an uncertainty, and its share (0 to 1) of the variance."""

    source: Source
    standard_uncertainty: Decimal
    share: Decimal


@dataclass(frozen=True, slots=True, eq=False)
class Budget:
    """The uncertainty budget of a lot: `effects[s, j]` is what one standard uncertainty of `sources[s]` does to
    the fraction of `materials[j]`, with its sign.
    """

    materials: tuple[int, ...]
    sources: tuple[Source, ...]
    effects: Floats

    def of_each(self) -> dict[int, Decimal]:
        """Standard uncertainty of the fraction of each material, rounded by `nearest_uncertainty`."""
        deviations = np.sqrt(np.square(self.effects).sum(axis=0)).tolist()
        return {m: nearest_uncertainty(u) for m, u in zip(self.materials, deviations, strict=True)}

    def of_sum(self, materials: Collection[int]) -> Decimal:
        """Standard uncertainty of the fractions of `materials` together, such as a strength, correlations
        included; materials that are nowhere in the ancestry add nothing.
        """
        return nearest_uncertainty(float(np.linalg.norm(self._effects_on(materials))))

    def largest(self, materials: Collection[int], count: int = 5) -> tuple[Contribution, ...]:
        """The `count` sources that matter most to the sum of `materials`: what to weigh better first."""
        effects = np.abs(self._effects_on(materials))
        variance = float(np.square(effects).sum())
        ranked = np.argsort(-effects, kind="stable")[: max(count, 0)]
        return tuple(
            Contribution(
                source=self.sources[row],
                standard_uncertainty=nearest_uncertainty(float(effects[row])),
                share=nearest_fraction(Decimal(float(effects[row]) ** 2 / variance)),
            )
            for row in ranked.tolist()
            if effects[row] > 0
        )

    def _effects_on(self, materials: Collection[int]) -> Floats:
        columns = [column for column, material in enumerate(self.materials) if material in materials]
        effects: Floats = self.effects[:, columns].sum(axis=1)
        return effects


def nearest_uncertainty(value: float) -> Decimal:
    """Half-even to twelve places, three more than a fraction has: a trace of 10⁻⁶ still keeps four figures."""
    return Decimal(value).quantize(UNCERTAINTY_STEP, rounding=ROUND_HALF_EVEN)


def budget(
    *,
    target: int,
    revision: int = 0,
    weighings: Sequence[Weighing],
    contents: Contents,
    purities: Sequence[Purity] = (),
    losses: Sequence[Loss] = (),
) -> Budget:
    """The uncertainty budget of lot `target`, with its contents at `revision`, over its whole ancestry.

    `weighings` holds every weighing into the target and its ancestors, `contents` all revisions of these lots
    from 0 up to the last one used; what lies outside the ancestry is ignored. A weighing with standard
    uncertainty 0 is exactly known.

    Raises `CircularAncestry`, `ContentsMissing`, `ContentsUnbalanced`, `RevisionUnexplained`,
    `SourceContradictory`, and `BadNumber` for a mass that is not positive or an uncertainty below zero.
    """
    into: dict[int, list[Weighing]] = {}
    for weighing in weighings:
        into.setdefault(weighing.target, []).append(weighing)
    order = making_order(_made_of(into, (target, revision)), (target, revision))
    place = {node: index for index, node in enumerate(order)}
    within = [w for lot, number in order if number == 0 for w in into.get(lot, ())]
    purities = [p for p in purities if (p.lot, 0) in place]
    losses = [loss for loss in losses if (loss.lot, loss.revision) in place]
    _check_weighings(within)
    _check_purities(purities, contents, into)
    _check_losses(losses)

    materials, fractions = _table(order, contents)
    made = {
        lot: float(sum(w.mass for w in into[lot])) for lot, number in order if number == 0 and lot in into
    }
    dryings = {
        place[lot, number]: (
            place[lot, number - 1],
            drying_between(fractions[place[lot, number - 1]], fractions[place[lot, number]], lot),
        )
        for lot, number in order
        if number > 0
    }
    weights = weights_of(
        inflow=[
            [(place[w.source, w.source_revision], float(w.mass) / made[lot]) for w in into.get(lot, ())]
            if number == 0
            else []
            for lot, number in order
        ],
        dryings=dryings,
        width=len(materials),
    )
    deviations = np.vstack(
        [
            _of_weighings(within, place, made, fractions),
            _of_purities(purities, place, materials, fractions),
            *(_of_loss(loss, dryings[place[loss.lot, loss.revision]][1]) for loss in losses),
        ]
    )
    places = [
        *(place[w.target, 0] for w in within),
        *(place[p.lot, 0] for p in purities),
        *(place[loss.lot, loss.revision] for loss in losses),
    ]
    return Budget(
        materials=materials,
        sources=(*within, *purities, *losses),
        effects=weights.carried(deviations, places),
    )


def _made_of(into: Mapping[int, Sequence[Weighing]], wanted: Node) -> dict[Node, list[Node]]:
    """What each contents stand on: revision 0 on the lots weighed in, each further one on that before it."""
    poured = ((w.source, w.source_revision) for w in chain.from_iterable(into.values()))
    made_of = {(lot, 0): [(w.source, w.source_revision) for w in inflow] for lot, inflow in into.items()}
    for lot, number in {wanted, *poured}:
        for later in range(number, 0, -1):
            made_of[lot, later] = [(lot, later - 1)]
    return made_of


def _table(order: Sequence[Node], contents: Contents) -> tuple[tuple[int, ...], Floats]:
    """The materials in ascending order, and the contents as one row per place."""
    missing = [node for node in order if not contents.get(node)]
    if missing:
        named = ", ".join(f"{lot} (revision {number})" for lot, number in missing[:5])
        more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
        raise ContentsMissing(f"The contents of these lots are not given: {named}{more}.", lots=missing)
    materials = tuple(sorted(set().union(*(contents[node] for node in order))))
    column = {material: index for index, material in enumerate(materials)}
    width = len(materials)
    flat = [row * width + column[m] for row, node in enumerate(order) for m in contents[node]]
    filled = np.zeros(len(order) * width)
    filled[flat] = np.fromiter(map(float, chain.from_iterable(contents[n].values() for n in order)), float)
    fractions: Floats = filled.reshape(len(order), width)
    unbalanced = np.flatnonzero(~(np.abs(fractions.sum(axis=1) - 1) <= _WHOLE_WITHIN))
    if len(unbalanced) or not (fractions >= 0).all():
        lot, number = (
            order[unbalanced[0]] if len(unbalanced) else order[int(np.argmin(fractions.min(axis=1)))]
        )
        raise ContentsUnbalanced(
            f"The fractions of lot {lot} (revision {number}) are not all between 0 and 1 with the sum 1.",
            lot=lot,
        )
    return materials, fractions


def _of_weighings(
    weighings: Sequence[Weighing], place: Mapping[Node, int], made: Mapping[int, float], fractions: Floats
) -> Floats:
    """One row per weighing: what one standard uncertainty of it does to the lot it went into."""
    sources = [place[w.source, w.source_revision] for w in weighings]
    targets = [place[w.target, 0] for w in weighings]
    scale = np.array([float(w.standard_uncertainty) / made[w.target] for w in weighings], dtype=float)
    rows: Floats = (fractions[sources] - fractions[targets]) * scale[:, np.newaxis]
    return rows


def _of_purities(
    purities: Sequence[Purity], place: Mapping[Node, int], materials: Sequence[int], fractions: Floats
) -> Floats:
    """One row per purity: the material up, what has no uncertainty of its own down in proportion."""
    column = {material: index for index, material in enumerate(materials)}
    declared: dict[int, list[int]] = {}
    for purity in purities:
        declared.setdefault(purity.lot, []).append(column[purity.material])
    rows = np.zeros((len(purities), len(materials)))
    for row, purity in zip(rows, purities, strict=True):
        rest = fractions[place[purity.lot, 0]].copy()
        rest[declared[purity.lot]] = 0.0
        row -= rest / rest.sum() if rest.any() else 0.0
        row[column[purity.material]] = 1.0
        row *= float(purity.standard_uncertainty)
    return rows


def _of_loss(loss: Loss, drying: Drying) -> Floats:
    """The row of a loss; κ = book/actual, so its relative variance is the sum of theirs."""
    relative = hypot(
        float(loss.book_uncertainty) / float(loss.book), float(loss.actual_uncertainty) / float(loss.actual)
    )
    return drying.effect_of_factor() * (drying.stronger * relative)


def _check_weighings(weighings: Sequence[Weighing]) -> None:
    for w in weighings:
        if not w.mass.is_finite() or w.mass <= 0:
            raise BadNumber(
                f"The mass weighed from lot {w.source} into lot {w.target} is {w.mass} g, not above 0."
            )
        _check_uncertainty(w.standard_uncertainty, f"the weighing from lot {w.source} into lot {w.target}")


def _check_purities(
    purities: Sequence[Purity], contents: Contents, into: Mapping[int, Sequence[Weighing]]
) -> None:
    _refuse_twice(((p.lot, p.material) for p in purities), "purity of material {1} in lot {0}")
    for p in purities:
        if p.lot in into:
            raise SourceContradictory(
                f"Lot {p.lot} was made here: its purity follows from what went in, and cannot be declared."
            )
        if (p.lot, 0) in contents and not contents[p.lot, 0].get(p.material):
            raise SourceContradictory(
                f"Lot {p.lot} contains no material {p.material}, but its purity is given."
            )
        _check_uncertainty(p.standard_uncertainty, f"the purity of lot {p.lot}")


def _check_losses(losses: Sequence[Loss]) -> None:
    _refuse_twice(((loss.lot, loss.revision) for loss in losses), "loss before revision {1} of lot {0}")
    for loss in losses:
        if loss.revision == 0:
            raise SourceContradictory(
                f"Revision 0 of lot {loss.lot} is the lot as made: nothing was lost yet."
            )
        if not (loss.book.is_finite() and loss.actual.is_finite() and 0 < loss.actual <= loss.book):
            raise BadNumber(
                f"Lot {loss.lot} went from {loss.book} g to {loss.actual} g, which is no loss of solvent."
            )
        _check_uncertainty(loss.book_uncertainty, f"the mass in the book of lot {loss.lot}")
        _check_uncertainty(loss.actual_uncertainty, f"the actual mass of lot {loss.lot}")


def _refuse_twice(keys: Iterable[tuple[int, int]], what: str) -> None:
    seen: set[tuple[int, int]] = set()
    for key in keys:
        if key in seen:
            raise SourceContradictory(f"The {what.format(*key)} is given twice.")
        seen.add(key)


def _check_uncertainty(value: Decimal, what: str) -> None:
    if not value.is_finite() or value < 0:
        raise BadNumber(f"The standard uncertainty of {what} is {value}; it must be a number of at least 0.")
