"""The book of the filled studio: one method for each thing that happens, writing what the actions would write.

What is there of each lot is kept here in whole micrograms; nothing is poured that is not there.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import connection

from batches.models import Batch, BatchKind, BatchLine, BatchState, FormulaLine, Weighing
from inventory.calc.contents import mixed
from inventory.models import (
    Claim,
    ClaimState,
    Lot,
    LotContent,
    LotKind,
    Material,
    MaterialKind,
    Movement,
    Reason,
)
from studio.kernel.mass import from_micrograms, nearest_fraction
from studio.kernel.numbers import Sort, compose
from studio.models import HistoryEntry, RunningNumber, SealedRecord
from tests.bench.filled.certainty import PURITY_U, Known, Uncertainties
from tests.bench.filled.founding import Founded, Recipe
from tests.bench.filled.lots import Standing
from tests.bench.filled.sealing import Chain, Pour, filled_record
from tests.bench.filled.tables import Table, stamp

WEIGHING_U = 200
POSSIBLE = json.dumps({"possible": True})


@dataclass(frozen=True, slots=True)
class Wanted:
    """One pour to be made: of which lot, how much, and which line of the formula it serves."""

    lot: Standing
    mass: int
    material: int
    line: FormulaLine | None = None


class Book:
    """Rows on their way into the database, and the lots as they stand."""

    def __init__(self, founded: Founded) -> None:
        self.founded = founded
        studio, by = founded.by.studio_id, founded.by.pk
        self.balance = founded.balances[0]
        self.check = self.balance.checks.order_by("id").values_list("id", flat=True)[0]
        self.names: dict[int, str] = {material.pk: material.name for material in founded.materials}
        kinds = dict(Material.objects.values_list("id", "kind"))
        self.solvents = {material for material, kind in kinds.items() if kind == MaterialKind.SOLVENT}
        self.chain = Chain(studio, by, founded.by.person.name)
        self.running: dict[tuple[Sort, int], int] = {}
        self.lots: list[Standing] = []
        self.known = Known()
        self.lot_rows = Table(
            Lot, "number", "kind", "title", "material", "solvent", "declared_strength", "actual_strength", "made_mass",
            "shelf", "supplier", "supplier_lot", "cost_per_gram", "made_in", "made_at", "recorded_at", "expires_on",
            "strength_u", studio=studio, by=by, contents_revision=0, concentration=1, on_hand=0, reserved=0, hold_reason="", note="",
            edition=1,
        )  # fmt: skip
        self.contents = Table(
            LotContent, "lot", "material", "fraction", "uncertainty", studio=studio, revision=0
        )
        self.movements = Table(
            Movement, "source", "target", "source_revision", "mass", "mass_u", "reason", "batch", "at", "recorded_at",
            "operation", studio=studio, by=by, source_concentration=1, why="",
        )  # fmt: skip
        self.claims = Table(
            Claim, "lot", "asked", "poured", "mass", "settled", "state", "purpose", "made_at", "touched_at", "ended_at",
            "ended_why", studio=studio, by=by,
        )  # fmt: skip
        self.batches = Table(
            Batch, "number", "kind", "state", "title", "version", "material", "solvent", "mass", "strength",
            "created_at", "reserved_at", "weighing_at", "ended_at", "ended_why", "made", "actual_cost", "planned_on",
            studio=studio, by=by, solvent_bounds="{}", balance=self.balance.pk, tolerance=Decimal("0.02"),
            explanation=POSSIBLE, note="", edition=3,
        )  # fmt: skip
        self.lines = Table(
            BatchLine, "batch", "position", "formula_line", "material", "lot", "planned", "target",
            studio=studio, pinned=False, expired_reason="",
        )  # fmt: skip
        self.weighings = Table(
            Weighing, "batch", "line", "lot", "mass", "reading", "at", "recorded_at",
            studio=studio, mass_u=WEIGHING_U, lot_revision=0, lot_concentration=1, balance=self.balance.pk,
            balance_check=self.check, source="balance", by=by,
        )  # fmt: skip
        self.records = Table(
            SealedRecord, "sequence", "name", "text", "previous", "seal", "sealed_at",
            studio=studio, subject="batch", by=by,
        )  # fmt: skip
        self.history = Table(
            HistoryEntry, "at", "name", "verb", studio=studio, by=by, subject="batch", changes="{}", why=""
        )
        self.history.last_id = HistoryEntry.objects.order_by("-id").values_list("id", flat=True)[0]
        self.tables = (
            self.lot_rows, self.contents, self.movements, self.claims, self.batches, self.lines, self.weighings,
            self.records, self.history,
        )  # fmt: skip

    def write(self) -> None:
        for table in self.tables:
            table.write()

    def receive(
        self, material: Material, mass: int, at: datetime, *, expires: date | None = None, title: str = ""
    ) -> Standing:
        """A neat bottle from a supplier."""
        lot = self._lot(
            kind=LotKind.BOTTLE, title=title or material.name, material=material.pk, strength=Decimal(1),
            contents={material.pk: Decimal(1)}, known={material.pk: PURITY_U}, strength_u=PURITY_U, mass=mass,
            cost=Decimal("0.25"), at=at, expires=expires, supplier=f"Supplier {material.pk % 17}",
        )  # fmt: skip
        self.known.receive(lot.id, material.pk)
        self._move(None, lot, mass, Reason.RECEIVED, stamp(at))
        return lot

    def make(
        self, kind: BatchKind, title: str, wanted: Sequence[Wanted], at: datetime, *,
        recipe: Recipe | None = None, material: int | None = None, solvent: int | None = None,
        strength: Decimal | None = None, expires: date | None = None,
    ) -> Standing:  # fmt: skip
        """A batch from draft to sealed record: each wanted pour weighed once, a trifle off its target."""
        when = stamp(at)
        number = self._number("batch", at.year)
        pours = [
            Pour(one.lot, one.material, one.mass, one.mass + one.mass * (place % 5 - 2) // 1000)
            for place, one in enumerate(wanted)
        ]
        contents = mixed([(from_micrograms(pour.mass), pour.lot.contents) for pour in pours])
        budget = self.known.made_of(pours, contents, WEIGHING_U)
        total = sum(pour.mass for pour in pours)
        cost = sum((pour.mass * pour.lot.cost for pour in pours), Decimal(0)) / total
        lot = self._lot(
            kind=LotKind(kind.value), title=title, material=material, strength=self._strength(contents, kind, material),
            contents=contents, known=budget.of_each(),
            strength_u=budget.of_sum(self._declared(contents, kind, material)), mass=total, cost=cost, at=at, expires=expires, solvent=solvent, made_in=number,
            declared=strength,
        )  # fmt: skip
        if kind != BatchKind.BLEND:
            self.known.keep(lot.id, pours, contents, WEIGHING_U)
        batch = self.batches.add(
            number, kind.value, BatchState.CLOSED.value, title, recipe.version.pk if recipe else None, material, solvent,
            sum(pour.target for pour in pours), strength, when, when, when, when, "", lot.id,
            f"{cost * from_micrograms(total):.4f}", at.date(),
        )  # fmt: skip
        for place, (one, pour) in enumerate(zip(wanted, pours, strict=True), start=1):
            line = self._line(batch, place, one)
            weighing = self.weighings.add(batch, line, one.lot.id, pour.mass, "", when, when)
            self._move(
                one.lot, lot, pour.mass, Reason.WEIGHED_IN, when, number, f"weighing {weighing}", WEIGHING_U
            )
        self._claim(wanted, pours, number, when, ended=True)
        who = self.founded.by.person.name
        record = filled_record(
            number=number, kind=kind.value, title=title, version=recipe.of if recipe else None, at=when, who=who,
            pours=pours, lot=lot, names=self.names,
        )  # fmt: skip
        sequence, text, previous, seal = self.chain.seal(number, at, record)
        self.records.add(sequence, number, text, previous, seal, when)
        for verb in ("drafted", "reserved", "closed"):
            self.history.add(when, number, verb)
        return lot

    def plan(
        self, state: BatchState, title: str, wanted: Sequence[Wanted], at: datetime, recipe: Recipe, *, weighed: int = 0
    ) -> None:  # fmt: skip
        """A batch that is not closed: drafted, reserved, its first lines weighed, or given up before any."""
        when = stamp(at)
        number = self._number("batch", at.year)
        claims = state in (BatchState.RESERVED, BatchState.WEIGHING)
        batch = self.batches.add(
            number, BatchKind.BLEND.value, state.value, title, recipe.version.pk, None, None,
            sum(one.mass for one in wanted), None, when, when if claims else None,
            when if state == BatchState.WEIGHING else None, when if state == BatchState.VOID else None,
            "Not wanted any more." if state == BatchState.VOID else "", None, None, at.date(),
        )  # fmt: skip
        pours = []
        for place, one in enumerate(wanted, start=1):
            line = self._line(batch, place, one)
            if place <= weighed:
                self.weighings.add(batch, line, one.lot.id, one.mass, "", when, when)
                pours.append(Pour(one.lot, one.material, one.mass, one.mass))
        if claims:
            self._claim(wanted, pours, number, when, ended=False)
        self.history.add(when, number, "drafted")

    def draw_off(self, source: Standing, mass: int, at: datetime) -> Standing:
        """A vial of a lot."""
        lot = self._lot(
            kind=LotKind.VIAL, title=f"{source.title}, vial", material=source.material, strength=source.strength,
            contents=source.contents, known=source.known, strength_u=source.strength_u, mass=mass, cost=source.cost,
            at=at,
        )  # fmt: skip
        self._move(source, lot, mass, Reason.DRAWN_OFF, stamp(at))
        return lot

    def count(self, lot: Standing, found: int, at: datetime) -> None:
        """The container was weighed: `found` more, or less, than the book said."""
        if found > 0:
            self._move(None, lot, found, Reason.COUNTED_UP, stamp(at))
        else:
            self._move(lot, None, -found, Reason.COUNTED_DOWN, stamp(at))

    def empty(self, lot: Standing, at: datetime) -> None:
        """What is left is thrown away."""
        when = stamp(at)
        self._move(lot, None, lot.on_hand, Reason.DISCARDED, when)
        lot.emptied, lot.contents, lot.known = when, {}, {}

    def keep_standing(self) -> None:
        """Write what the lots hold now, and how far the running numbers are; call once, at the end."""
        with connection.cursor() as cursor:
            cursor.executemany(
                "UPDATE inventory_lot SET on_hand = %s, reserved = %s, opened_at = %s, emptied_at = %s, held_at = %s, "
                "hold_reason = %s WHERE id = %s",
                [
                    (lot.on_hand, lot.reserved, lot.opened, lot.emptied, lot.held, "Smells off." if lot.held else "",
                     lot.id)
                    for lot in self.lots
                ],
            )  # fmt: skip
        RunningNumber.objects.bulk_create(
            RunningNumber(studio_id=self.founded.by.studio_id, sort=sort, year=year, last=last)
            for (sort, year), last in self.running.items()
        )

    def _number(self, sort: Sort, year: int) -> str:
        self.running[sort, year] = self.running.get((sort, year), 0) + 1
        return compose(sort, year, self.running[sort, year])

    def _lot(
        self, *, kind: LotKind, title: str, material: int | None, strength: Decimal, contents: Mapping[int, Decimal],
        known: Uncertainties, strength_u: Decimal, mass: int, cost: Decimal, at: datetime, expires: date | None = None, solvent: int | None = None,
        made_in: str = "", declared: Decimal | None = None, supplier: str = "",
    ) -> Standing:  # fmt: skip
        number = self._number("lot", at.year)
        supplier_lot = f"L{len(self.lots):06d}" if supplier else ""
        shelf = self.founded.shelves[len(self.lots) % len(self.founded.shelves)].pk
        when = stamp(at)
        key = self.lot_rows.add(
            number, kind.value, title, material, solvent, declared or strength or None, strength, mass, shelf, supplier,
            supplier_lot, f"{cost:.9f}", made_in, when, when, expires, strength_u,
        )  # fmt: skip
        for part, fraction in contents.items():
            self.contents.add(key, part, fraction, known[part])
        lot = Standing(
            id=key, number=number, kind=kind.value, title=title, material=material, strength=strength,
            contents=contents, known=known, strength_u=strength_u, made_mass=mass, on_hand=0, cost=cost,
            supplier=supplier, supplier_lot=supplier_lot, expires=expires,
        )  # fmt: skip
        self.lots.append(lot)
        return lot

    def _line(self, batch: int, place: int, one: Wanted) -> int:
        line = one.line.pk if one.line else None
        return self.lines.add(batch, place, line, one.material, one.lot.id, one.mass, one.mass)

    def _strength(self, contents: Mapping[int, Decimal], kind: BatchKind, material: int | None) -> Decimal:
        declared = self._declared(contents, kind, material)
        return nearest_fraction(sum((contents[part] for part in declared), Decimal(0)))

    def _declared(self, contents: Mapping[int, Decimal], kind: BatchKind, material: int | None) -> set[int]:
        """The materials whose share is the strength."""
        if kind == BatchKind.STOCK and material in contents:
            return {material}
        return contents.keys() - self.solvents

    def _move(
        self, source: Standing | None, target: Standing | None, mass: int, reason: Reason, when: str,
        batch: str = "", operation: str | None = None, mass_u: int | None = None,
    ) -> None:  # fmt: skip
        if source:
            source.on_hand -= mass
            source.opened = source.opened or when
            assert source.on_hand >= 0, f"{source.title} is poured beyond what is there"
        if target:
            target.on_hand += mass
        self.movements.add(
            source.id if source else None, target.id if target else None, 0 if source else None, mass, mass_u,
            reason.value, batch, when, when, operation,
        )  # fmt: skip

    def _claim(
        self, wanted: Sequence[Wanted], pours: Sequence[Pour], number: str, when: str, *, ended: bool
    ) -> None:
        """One claim for each lot: what was asked of it, or what was poured if that is more."""
        asked: dict[int, int] = {}
        poured: dict[int, int] = {}
        lots = {one.lot.id: one.lot for one in wanted}
        for one in wanted:
            asked[one.lot.id] = asked.get(one.lot.id, 0) + one.mass
        for pour in pours:
            poured[pour.lot.id] = poured.get(pour.lot.id, 0) + pour.mass
        for key, mass in sorted(asked.items()):
            out = poured.get(key, 0)
            covered = max(mass, out)
            if ended:
                self.claims.add(
                    key,
                    mass,
                    out,
                    covered,
                    out,
                    ClaimState.SETTLED.value,
                    number,
                    when,
                    when,
                    when,
                    "batch closed",
                )
            else:
                self.claims.add(
                    key, mass, out, covered, 0, ClaimState.OPEN.value, number, when, when, None, ""
                )
                lots[key].reserved += covered
                assert lots[key].reserved <= lots[key].on_hand, (
                    f"{lots[key].title} is claimed beyond what is there"
                )
