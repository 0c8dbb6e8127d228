"""How well the contents of filled lots are known, reckoned by the service's own budget over what was filled so far.

Only what may be poured again is kept, so that a studio of any size fits into memory.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.calc.uncertainty import Budget, Contents, Purity, Weighing, budget
from studio.kernel.mass import from_micrograms
from tests.bench.filled.sealing import Pour

PURITY_U = Decimal("0.002")
"""The standard uncertainty of a filled bottle's fraction of its only material."""
NEW = 0
"""Stands for a lot that has no id yet."""

Uncertainties = Mapping[int, Decimal]


@dataclass(slots=True)
class Known:
    """The contents of the lots that may be poured, the pours into them, and what they are made of in the end."""

    contents: dict[tuple[int, int], Mapping[int, Decimal]] = field(default_factory=dict)
    into: dict[int, list[Weighing]] = field(default_factory=dict)
    received: dict[int, Purity] = field(default_factory=dict)

    def receive(self, lot: int, material: int) -> None:
        self.contents[lot, 0] = {material: Decimal(1)}
        self.received[lot] = Purity(lot, material, PURITY_U)

    def made_of(self, pours: Sequence[Pour], fractions: Mapping[int, Decimal], mass_u: int) -> Budget:
        """The budget of a lot that is made of these pours, each known to `mass_u` micrograms."""
        own = _weighings(NEW, pours, mass_u)
        behind = self._behind(own)
        contents: Contents = {**{(lot, 0): self.contents[lot, 0] for lot in behind}, (NEW, 0): fractions}
        return budget(
            target=NEW,
            weighings=[*own, *(weighing for lot in behind for weighing in self.into.get(lot, ()))],
            contents=contents,
            purities=[self.received[lot] for lot in behind if lot in self.received],
        )

    def keep(self, lot: int, pours: Sequence[Pour], fractions: Mapping[int, Decimal], mass_u: int) -> None:
        """Remember a made lot that is going to be poured again."""
        self.contents[lot, 0] = fractions
        self.into[lot] = _weighings(lot, pours, mass_u)

    def _behind(self, own: Sequence[Weighing]) -> Collection[int]:
        seen: dict[int, None] = {}
        waiting = [weighing.source for weighing in own]
        while waiting:
            lot = waiting.pop()
            if lot not in seen:
                seen[lot] = None
                waiting += [weighing.source for weighing in self.into.get(lot, ())]
        return seen


def _weighings(target: int, pours: Sequence[Pour], mass_u: int) -> list[Weighing]:
    return [
        Weighing(
            source=pour.lot.id,
            source_revision=0,
            target=target,
            mass=from_micrograms(pour.mass),
            standard_uncertainty=from_micrograms(mass_u),
        )
        for pour in pours
    ]
