"""How much the contents of one lot change when the contents of any of its ancestors change a little.

The weight of a lot is *w* = d*f*(last lot) / d*f*(lot). All weights follow in one pass backwards through the
order of making: the last lot has weight 1, and a lot of mass *M* with weight *w* adds *w*·*m*/*M* to the lot
from which *m* grams of it came. Shared ancestors gather the weights of all that was made of them, so the pass
is linear in the pours, whatever the number of paths.

Loss of solvent: what stays (together *N*) grows by κ, and the solvents lost (together *S* = 1 − *N*) shrink
by λ = (1 − κ*N*)/*S*. A small change of what stays is carried on with κ. So is a small change of the
solvents *together*, because the loss is a number of grams and not a share of what there was; only a change
in how they divide among themselves is carried with λ. The Jacobian is therefore κ·1 − (κ − λ)·(1 − *s*1ᵀ/*S*)
on the lost solvents and κ elsewhere: one number for all materials, except for a small square matrix over
those solvents that were ever lost together. A full matrix per lot gives the same at the square of the number
of materials.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from studio.kernel.errors import Invalid

Floats = NDArray[np.float64]
_STEP = 1e-9
_TOO_SMALL_TO_TELL = 10 * _STEP


class RevisionUnexplained(Invalid):
    """Two successive contents of a lot that no loss of solvent turns into one another."""

    code = "revision-unexplained"
    title = "Contents changed without a loss of solvent"


@dataclass(frozen=True, slots=True, eq=False)
class Drying:
    """How contents follow from those before a loss of solvent: κ, λ, and the columns that were lost from."""

    stronger: float
    weaker: float
    lost: NDArray[np.bool_]
    before: Floats

    def effect_of_factor(self) -> Floats:
        """d*f*/dκ: what stays grows as it was, the lost solvents give way in proportion."""
        lost = self.before[self.lost].sum()
        if lost == 0:
            return np.zeros_like(self.before)
        kept = self.before[~self.lost].sum()
        return np.where(self.lost, -self.before * kept / lost, self.before)

    def jacobian(self, columns: NDArray[np.intp]) -> Floats:
        """d*f*(after) / d*f*(before) among `columns`, which hold all lost ones if there are several."""
        lost = self.lost[columns]
        shares = np.where(lost, self.before[columns], 0.0)
        if np.count_nonzero(self.lost) < 2:
            return self.stronger * np.eye(len(columns))
        dividing = np.diag(lost.astype(float)) - np.outer(shares, lost) / shares.sum()
        jacobian: Floats = self.stronger * np.eye(len(columns)) - (self.stronger - self.weaker) * dividing
        return jacobian


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """Weight of every lot, by its place in the order of making; `together` are the columns of the matrices."""

    alone: Floats
    together: NDArray[np.intp]
    matrices: Floats

    def carried(self, deviations: Floats, places: Sequence[int]) -> Floats:
        """Rows of deviations, each of the contents of the lot at that place, as they arrive in the last lot."""
        arriving: Floats = deviations * self.alone[list(places)][:, np.newaxis]
        if len(self.together):
            arriving[:, self.together] = np.einsum(
                "sij,sj->si", self.matrices[list(places)], deviations[:, self.together]
            )
        return arriving


def drying_between(before: Floats, after: Floats, lot: int) -> Drying:
    """Which loss of solvent leads from one nine-place contents of `lot` to the next.

    What fell was lost and what rose stayed, for rounding never turns one into the other; what looks
    unchanged is counted with whom it fits better. A loss that moves no fraction by more than ten units of the
    ninth place counts as none, and so does any loss from a lot of nothing but solvent. Raises
    `RevisionUnexplained` when no κ and λ fit within the rounding.
    """
    if np.abs(after - before).max() <= _TOO_SMALL_TO_TELL:
        return Drying(stronger=1.0, weaker=1.0, lost=np.zeros(before.shape, dtype=bool), before=before)
    fell, most = after < before, int(np.argmax(after - before))
    stronger = after[most] / max(before[most], _STEP)
    weaker = after[fell].sum() / max(before[fell].sum(), _STEP)
    lost = fell | ((after == before) & (np.abs(weaker - 1) < np.abs(stronger - 1)))
    stronger = float(after[~lost].sum() / max(before[~lost].sum(), _STEP))
    weaker = float(after[lost].sum() / max(before[lost].sum(), _STEP))
    expected = np.where(lost, weaker, stronger) * before
    worst = int(np.argmax(np.abs(expected - after)))
    if abs(expected[worst] - after[worst]) > (2 * np.count_nonzero(before) + 4) * _STEP:
        raise RevisionUnexplained(
            f"The contents of lot {lot} changed in a way that loss of solvent does not explain: one fraction "
            f"is {after[worst]:.9f}, and {expected[worst]:.9f} would fit the others. "
            "Give every revision of the lot in turn.",
            lot=lot,
        )
    return Drying(stronger=stronger, weaker=weaker, lost=lost, before=before)


def weights_of(
    *, inflow: Sequence[Sequence[tuple[int, float]]], dryings: Mapping[int, tuple[int, Drying]], width: int
) -> Weights:
    """Weights of all lots for the last one; places are in the order of making, ancestors first.

    `inflow[k]` lists (place, *m*/*M*) of what lot *k* was made of; `dryings[k]` is the place of the contents
    before the loss, and the loss; `width` is the number of materials.
    """
    several = [drying.lost for _, drying in dryings.values() if np.count_nonzero(drying.lost) > 1]
    together = np.flatnonzero(np.any(several, axis=0)) if several else np.zeros(0, dtype=np.intp)
    alone = [0.0] * len(inflow)
    alone[-1] = 1.0
    matrices = np.zeros((len(inflow), len(together), len(together)))
    matrices[-1] = np.eye(len(together))
    for place in reversed(range(len(inflow))):
        if place in dryings:
            before, drying = dryings[place]
            alone[before] += alone[place] * drying.stronger
            if several:
                matrices[before] += matrices[place] @ drying.jacobian(together)
        for source, share in inflow[place]:
            alone[source] += alone[place] * share
            if several:
                matrices[source] += matrices[place] * share
    return Weights(alone=np.array(alone), together=together, matrices=matrices)
