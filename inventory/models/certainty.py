"""The uncertainty budget of a lot's contents, put together from the ledger. Shared by closing and by showing."""

from collections.abc import Mapping, Sequence

from inventory.calc.uncertainty import Budget, Contents, Purity, Weighing, budget
from inventory.models.ancestry import PouredMass, contents_behind, pours_among, purities_behind


def budgets_of(
    *,
    targets: Mapping[int, Sequence[PouredMass]],
    sources: Sequence[int],
    contents: Contents,
) -> dict[int, Budget]:
    """The budgets of new lots by the ids that stand for them, each of the pours given for it out of lots `sources`.

    `contents` are those of `contents_behind(sources)` and the targets' own. Two statements, whatever their number.
    Raises as `inventory.calc.uncertainty.budget` does.
    """
    behind = [_weighing(pour) for pour in pours_among(sources, "back")]
    purities = [Purity(*purity) for purity in purities_behind(sources)]
    return {
        target: budget(
            target=target,
            weighings=[*behind, *(_weighing(pour) for pour in pours)],
            contents=contents,
            purities=purities,
        )
        for target, pours in targets.items()
    }


def budget_of_lot(lot_id: int, revision: int) -> Budget:
    """The budget of a lot that exists, with its contents at `revision`. Three statements."""
    return budget(
        target=lot_id,
        revision=revision,
        weighings=[_weighing(pour) for pour in pours_among([lot_id], "back")],
        contents=contents_behind([lot_id]),
        purities=[Purity(*purity) for purity in purities_behind([lot_id])],
    )


def _weighing(pour: PouredMass) -> Weighing:
    return Weighing(
        source=pour.source,
        source_revision=pour.source_revision,
        target=pour.target,
        mass=pour.mass,
        standard_uncertainty=pour.mass_u,
    )
