"""The lots of the filled studio as they stand while it is filled: what is in them, and what is left of them.

Masses are whole micrograms here, for the speed of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal


@dataclass(slots=True)
class Standing:
    """A lot while the studio is filled; `known` holds the standard uncertainty of each fraction."""

    id: int
    number: str
    kind: str
    title: str
    material: int | None
    strength: Decimal
    contents: Mapping[int, Decimal]
    known: Mapping[int, Decimal]
    strength_u: Decimal
    made_mass: int
    on_hand: int
    cost: Decimal
    supplier: str = ""
    supplier_lot: str = ""
    expires: date | None = None
    reserved: int = 0
    opened: str | None = None
    emptied: str | None = None
    held: str | None = None


@dataclass(slots=True)
class Shelf:
    """Where the makings of the filled studio take their lots from: the open ones by material and strength.

    `lasting` ones are never emptied, so that every formula can be made at any time; of the others the newest serve
    first, while there is enough in them.
    """

    lasting: dict[tuple[int, str], Standing] = field(default_factory=dict)
    fresh: dict[tuple[int, str], list[Standing]] = field(default_factory=dict)

    def put(self, lot: Standing, strength: str) -> None:
        assert lot.material is not None
        self.fresh.setdefault((lot.material, strength), []).append(lot)

    def take_from(self, material: int, strength: str, mass: int) -> Standing:
        """A lot that still holds `mass` and as much again, so that it can be counted and claimed as well."""
        for lot in reversed(self.fresh.get((material, strength), ())):
            if lot.on_hand - lot.reserved > 2 * mass:
                return lot
        return self.lasting[material, strength]

    def forget(self, gone: set[int]) -> None:
        for key, lots in self.fresh.items():
            self.fresh[key] = [lot for lot in lots if lot.id not in gone]
