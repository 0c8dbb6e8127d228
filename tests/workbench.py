"""A small text form for shelves and formulas, so that a case is read at a glance.

`"linalool 10g"` is a neat bottle, `"linalool@10%/ethanol 5g"` one of a tenth in ethanol; in a formula the number is
parts. Everything goes through the actions that the API uses.
"""

import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from batches.actions.closing import Filled, close_batch
from batches.actions.formulas import WrittenLine, write_formula
from batches.actions.planning import draft_formula_batch, draft_stock_batch
from batches.actions.reserving import reserve_batch
from batches.actions.weighing import Reading, log_weighings
from batches.models import Batch, FormulaVersion
from batches.queries.proof import all_findings
from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.places import add_balance
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.calc.weighing import BalanceTraits
from inventory.models import Balance, Lot, Material
from inventory.queries.proof import ledger_findings
from studio.models import Member

SOLVENTS = ("ethanol", "dipropylene glycol", "water")
_TEXT = re.compile(
    r"(?P<name>[^@/\d][^@/]*?)(@(?P<percent>[\d.]+)%(/(?P<solvent>[^\d]+?))?)? +(?P<amount>[\d.]+)g?"
)


class Workbench:
    """A studio's bench for tests, worked by one member at a clock that stands still unless it is moved."""

    def __init__(self, by: Member, now: datetime) -> None:
        self.by = by
        self.now = now
        self.materials: dict[str, Material] = {}

    def material(self, name: str, **card: Any) -> Material:
        """The material of that name, written down when it is first spoken of."""
        if name not in self.materials:
            kind = "solvent" if name in SOLVENTS else "odorant"
            [self.materials[name]] = add_materials(
                by=self.by, now=self.now, cards=[MaterialCard(name=name, kind=kind, **card)]
            )
        return self.materials[name]

    def bottle(self, text: str, **details: Any) -> Lot:
        material, strength, solvent, mass = self._read(text)
        bottle = Bottle(material=material, mass=mass, strength=strength, solvent=solvent, **details)
        [lot] = receive_bottles(by=self.by, now=self.now, bottles=[bottle])
        return lot

    def balance(self, name: str = "fine", *, readability: str = "0.001", capacity: str = "200") -> Balance:
        step = Decimal(readability)
        traits = BalanceTraits(
            capacity=Decimal(capacity), readability=step, repeatability=step, linearity=2 * step
        )
        return add_balance(by=self.by, now=self.now, name=name, traits=traits)

    def formula(self, code: str, *lines: str, name: str = "") -> FormulaVersion:
        return write_formula(
            by=self.by, now=self.now, code=code, name=name or code, lines=[self.line(text) for text in lines]
        )

    def line(self, text: str) -> WrittenLine:
        material, strength, solvent, parts = self._read(text)
        return WrittenLine(material=material, strength=strength, solvent=solvent, parts=parts)

    def plan(self, version: FormulaVersion, mass: str, **wanted: Any) -> Batch:
        return draft_formula_batch(by=self.by, now=self.now, version=version, mass=Decimal(mass), **wanted)

    def plan_stock(self, text: str, **wanted: Any) -> Batch:
        material, strength, solvent, mass = self._read(text)
        return draft_stock_batch(
            by=self.by,
            now=self.now,
            material=material,
            strength=strength,
            solvent=solvent,
            mass=mass,
            **wanted,
        )

    def reserve(self, batch: Batch, **details: Any) -> Batch:
        return reserve_batch(by=self.by, now=self.now, number=batch.number, **details)

    def weigh(self, batch: Batch, position: int, mass: str, **details: Any) -> Any:
        """Pour `mass` grams for a line, from the lot it takes; the typed mass is meant."""
        line = batch.lines.select_related("lot").get(position=position)
        reading = Reading(
            position=position,
            lot=line.lot.number,
            mass=Decimal(mass),
            **{"confirmed": True, **details},
        )
        [weighing] = log_weighings(by=self.by, now=self.now, number=batch.number, readings=[reading])
        return weighing

    def weigh_all(self, batch: Batch) -> None:
        """Pour every line exactly to its target."""
        for line in batch.lines.order_by("position"):
            self.weigh(batch, line.position, str(line.target))

    def close(self, batch: Batch, **filled: Any) -> Lot:
        closed = close_batch(by=self.by, now=self.now, number=batch.number, filled=Filled(**filled))
        lot = closed.made
        assert lot is not None
        lot.refresh_from_db()
        return lot

    def stock(self, text: str, **wanted: Any) -> Lot:
        """A dilution, planned, reserved, weighed exactly and closed."""
        batch = self.plan_stock(text, **wanted)
        self.reserve(batch)
        self.weigh_all(batch)
        return self.close(batch)

    def make(self, version: FormulaVersion, mass: str, **wanted: Any) -> Lot:
        """A composition, planned, reserved, weighed exactly and closed."""
        batch = self.plan(version, mass, **wanted)
        self.reserve(batch)
        self.weigh_all(batch)
        return self.close(batch)

    def later(self, **time: float) -> None:
        self.now += timedelta(**time)

    def _read(self, text: str) -> tuple[Material, Decimal, Material | None, Decimal]:
        match = _TEXT.fullmatch(text)
        assert match is not None, f"not in the text form: {text}"
        strength = Decimal(match["percent"]) / 100 if match["percent"] else Decimal(1)
        solvent = self.material(match["solvent"] or "ethanol") if strength < 1 else None
        return self.material(match["name"]), strength, solvent, Decimal(match["amount"])


def assert_everything_holds() -> None:
    """What `manage.py verify` proves, of all studios in the database."""
    findings = [*ledger_findings(), *all_findings()]
    assert not findings, "\n".join(f"{finding.where}: {finding.what}" for finding in findings)
