"""The uncertainty budget of a lot's contents, put together from the ledger. Shared by closing and by showing."""

from collections.abc import Sequence

from inventory.calc.uncertainty import Budget, Contents, Purity, Weighing, budget
from inventory.models.ancestry import PouredMass, contents_behind, pours_among, purities_behind


def budget_of(
    *,
    target: int,
    sources: Sequence[int],
    contents: Contents,
    revision: int = 0,
    pours: Sequence[PouredMass] = (),
) -> Budget:
    """The budget of lot `target`, whose ancestry is that of the lots `sources` and `pours` beyond it.

    `contents` are those of `contents_behind(sources)`, and the target's own where it is not among them. Two
    statements. Raises as `inventory.calc.uncertainty.budget` does.
    """
    return budget(
        target=target,
        revision=revision,
        weighings=[
            Weighing(
                source=pour.source,
                source_revision=pour.source_revision,
                target=pour.target,
                mass=pour.mass,
                standard_uncertainty=pour.mass_u,
            )
            for pour in [*pours_among(sources, "back"), *pours]
        ],
        contents=contents,
        purities=[Purity(*purity) for purity in purities_behind(sources)],
    )


def budget_of_lot(lot_id: int, revision: int) -> Budget:
    """The budget of a lot that exists, with its contents at `revision`. Three statements."""
    return budget_of(target=lot_id, sources=[lot_id], contents=contents_behind([lot_id]), revision=revision)
