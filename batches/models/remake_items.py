"""The items of a studio's remake plan: which there are, what they are called, their pars and how long they keep."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from batches.calc.remake_recipes import key_of, nearest_item
from batches.calc.remake_request import Item, ItemKey
from batches.calc.strength import FormulaLine
from inventory.calc.wording import percent
from inventory.models import Material, MaterialKind, Par

ONE = Decimal(1)
Recipes = Mapping[int, Sequence[FormulaLine]]


class Catalogue:
    """Items as they are met; a strength that is an item's but for how it was made is that item."""

    def __init__(self, materials: Iterable[Material], bases: Recipes) -> None:
        """`bases` are the lines of the adopted version by the base's material."""
        self.materials = {material.id: material for material in materials}
        self.bases = bases
        self.pars: dict[ItemKey, Par] = {}
        self._strengths: dict[tuple[int, int | None], list[Decimal]] = {}

    def item(self, material: int, strength: Decimal, solvent: int | None) -> ItemKey:
        """The item of this material, strength and solvent; met for the first time, it becomes one."""
        kind = self.materials[material].kind
        exact = ONE if kind == MaterialKind.SOLVENT else strength
        key = key_of(material, exact, solvent, has_solvent=kind == MaterialKind.ODORANT)
        near = nearest_item(key, self._strengths)
        if near is key:
            met = self._strengths.setdefault((key.material, key.solvent), [])
            if key.strength not in met:
                met.append(key.strength)
        return near

    def want(self, par: Par) -> None:
        self.pars[self.item(par.material_id, par.strength, par.solvent_id)] = par

    def all_keys(self) -> list[ItemKey]:
        """All items met so far, in their order."""
        keys = [
            ItemKey(material, strength, solvent)
            for (material, solvent), strengths in self._strengths.items()
            for strength in strengths
        ]
        return sorted(keys, key=lambda key: key.place)

    def strengths_like(self, key: ItemKey) -> list[Decimal]:
        """The strengths at which the item's material is met in its solvent."""
        return list(self._strengths.get((key.material, key.solvent), ()))

    def is_base(self, key: ItemKey) -> bool:
        return self.materials[key.material].kind == MaterialKind.BASE

    def name(self, key: ItemKey) -> str:
        name = self.materials[key.material].name
        if key.strength == 1:
            return name
        solvent = f" in {self.materials[key.solvent].name}" if key.solvent else ""
        return f"{name} {percent(key.strength)}{solvent}"

    def life(self, key: ItemKey) -> int | None:
        """Days from its making, or its arrival, to its last good one, as closing a batch would say."""
        material = self.materials[key.material]
        if self.is_base(key):
            return self._life_of_base(key.material)
        if key.strength == 1:
            return material.shelf_life_days
        solvent = self.materials[key.solvent] if key.solvent else None
        return _least(material.stock_shelf_life_days, solvent.stock_shelf_life_days if solvent else None)

    def _life_of_base(self, base: int, within: frozenset[int] = frozenset()) -> int | None:
        if base in within:
            return None
        lives = []
        for line in self.bases.get(base, ()):
            if line.material in self.bases:
                lives.append(self._life_of_base(line.material, within | {base}))
            lives.append(self.materials[line.material].stock_shelf_life_days)
            if line.solvent:
                lives.append(self.materials[line.solvent].stock_shelf_life_days)
        return _least(self.materials[base].stock_shelf_life_days, *lives)

    def items(self) -> tuple[Item, ...]:
        """Everything met, as the plan takes it."""
        return tuple(self._told(key) for key in self.all_keys())

    def _told(self, key: ItemKey) -> Item:
        par = self.pars.get(key)
        told = Item(key=key, name=self.name(key), shelf_life_days=self.life(key))
        if par is None:
            return told
        return Item(key=key, name=told.name, low=par.low, full=par.full, shelf_life_days=told.shelf_life_days)


def _least(*days: int | None) -> int | None:
    return min((one for one in days if one is not None), default=None)
