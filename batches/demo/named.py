"""The things of the demo studio by the names its sheets use, gathered as they come into being."""

from dataclasses import dataclass, field

from batches.models import Batch, FormulaVersion
from inventory.models import Balance, Lot, Material, Shelf
from studio.models import Member


@dataclass(slots=True)
class Named:
    """Members, balances, stocks and batches go by their keys; shelves and materials by name, formulas by code."""

    members: dict[str, Member] = field(default_factory=dict)
    shelves: dict[str, Shelf] = field(default_factory=dict)
    balances: dict[str, Balance] = field(default_factory=dict)
    materials: dict[str, Material] = field(default_factory=dict)
    formulas: dict[str, FormulaVersion] = field(default_factory=dict)
    bottles: list[Lot] = field(default_factory=list)
    stocks: dict[str, Lot] = field(default_factory=dict)
    vials: dict[str, Lot] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)

    @property
    def owner(self) -> Member:
        return self.members["owner"]

    def member(self, key: str) -> Member | None:
        """The keeper of that key; none is the studio itself."""
        return self.members[key] if key else None

    def shelf(self, name: str) -> Shelf | None:
        return self.shelves[name] if name else None

    def solvent(self, name: str) -> Material | None:
        return self.materials[name] if name else None

    def lot(self, reference: str) -> Lot:
        """`stock:S41`, `batch:linen-20` for what the batch made, or `bottle:linalool:oldest` (or `newest`)."""
        sort, _, name = reference.partition(":")
        if sort == "stock":
            return self.stocks[name]
        if sort == "batch":
            made = self.batches[name].made
            if made is None:
                raise LookupError(f"Batch {name} has made no lot yet.")
            return made
        material, _, age = name.rpartition(":")
        bottles = [lot for lot in self.bottles if lot.material == self.materials[material]]
        return bottles[0] if age == "oldest" else bottles[-1]
