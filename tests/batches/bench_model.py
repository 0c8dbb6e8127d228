"""What a bench should hold, kept in exact numbers and without a database: the model that the service is compared with.

Lots are known by number and masses are exact decimals. Contents are exact fractions; `slack` bounds what the nine
places of the database may have rounded away from them over the generations.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

ZERO = Decimal(0)
UNIT = Fraction(1, 10**9)
Entry = tuple[str, str | None, str | None, Decimal]
"""Reason, source, target and grams of a movement."""


@dataclass
class ModelLot:
    number: str
    on_hand: Decimal
    contents: dict[str, Fraction]
    parents: set[str] = field(default_factory=set)
    slack: Fraction = UNIT
    held: bool = False
    revision: int = 0
    concentration: Fraction = Fraction(1)


@dataclass
class ModelClaim:
    asked: Decimal
    poured: Decimal = ZERO

    @property
    def mass(self) -> Decimal:
        return max(self.asked, self.poured)


@dataclass
class ModelLine:
    position: int
    lot: str
    target: Decimal


@dataclass
class ModelWeighing:
    position: int
    lot: str
    mass: Decimal
    contents: Mapping[str, Fraction]
    slack: Fraction
    struck: bool = False


@dataclass
class ModelBatch:
    number: str
    lines: list[ModelLine]
    state: str = "draft"
    claims: dict[str, ModelClaim] = field(default_factory=dict)
    weighings: dict[int, ModelWeighing] = field(default_factory=dict)

    def standing(self) -> list[ModelWeighing]:
        return [one for _, one in sorted(self.weighings.items()) if not one.struck]

    def poured(self, lot: str) -> Decimal:
        return sum((one.mass for one in self.standing() if one.lot == lot), ZERO)

    def poured_into(self, position: int) -> dict[str, Decimal]:
        """What a line holds, by lot."""
        poured: dict[str, Decimal] = {}
        for one in self.standing():
            if one.position == position:
                poured[one.lot] = poured.get(one.lot, ZERO) + one.mass
        return poured

    def wants(self, totals: Mapping[int, Decimal] | None = None) -> dict[str, Decimal]:
        """Per lot; a line takes from the lot that is its own now what it does not hold of others."""
        wants: dict[str, Decimal] = {}
        for line in self.lines:
            total = line.target if totals is None else totals[line.position]
            for lot, mass in self.poured_into(line.position).items():
                if lot != line.lot:
                    wants[lot] = wants.get(lot, ZERO) + mass
                    total -= mass
            wants[line.lot] = wants.get(line.lot, ZERO) + max(total, ZERO)
        return wants

    def unweighed(self) -> set[int]:
        return {line.position for line in self.lines} - {one.position for one in self.standing()}


@dataclass
class ModelMovement:
    reason: str
    source: str | None
    target: str | None
    mass: Decimal
    reversed: bool = False


class BenchModel:
    """Every change returns the movements that it should have made, in their order."""

    def __init__(self, solvents: set[str]) -> None:
        self.solvents = solvents
        self.lots: dict[str, ModelLot] = {}
        self.batches: dict[str, ModelBatch] = {}
        self.ledger: dict[int, ModelMovement] = {}

    def claims_on(self, lot: str) -> Iterator[ModelClaim]:
        for batch in self.batches.values():
            if lot in batch.claims:
                yield batch.claims[lot]

    def reserved(self, lot: str) -> Decimal:
        return sum((claim.mass for claim in self.claims_on(lot)), ZERO)

    def poured(self, lot: str) -> Decimal:
        """What open batches have poured of a lot: out of the container, still in the book."""
        return sum((claim.poured for claim in self.claims_on(lot)), ZERO)

    def available(self, lot: str) -> Decimal:
        return max(self.lots[lot].on_hand - self.reserved(lot), ZERO)

    def there(self, lot: str) -> Decimal:
        """What is really in the container."""
        return self.lots[lot].on_hand - self.poured(lot)

    def receive(self, number: str, mass: Decimal, contents: dict[str, Fraction]) -> list[Entry]:
        self.lots[number] = ModelLot(number, mass, contents)
        return [("received", None, number, mass)]

    def reserve(self, batch: ModelBatch) -> None:
        batch.state = "reserved"
        batch.claims = {lot: ModelClaim(asked) for lot, asked in batch.wants().items()}

    def weigh(self, batch: ModelBatch, weighing_id: int, line: ModelLine, mass: Decimal) -> None:
        batch.state = "weighing"
        lot = self.lots[line.lot]
        batch.weighings[weighing_id] = ModelWeighing(
            line.position, line.lot, mass, dict(lot.contents), lot.slack
        )
        self._note_poured(batch, line.lot)

    def strike(self, batch: ModelBatch, weighing_id: int) -> None:
        struck = batch.weighings[weighing_id]
        struck.struck = True
        now_from = next(line.lot for line in batch.lines if line.position == struck.position)
        wants = batch.wants()
        if now_from == struck.lot:
            self._note_poured(batch, struck.lot)
            return
        for lot in (struck.lot, now_from):
            claim = batch.claims.setdefault(lot, ModelClaim(ZERO))
            free = ZERO if self.lots[lot].held else self.available(lot)
            claim.asked = min(wants.get(lot, ZERO), claim.mass + free)
            self._note_poured(batch, lot)

    def retarget(
        self, batch: ModelBatch, targets: Mapping[int, Decimal], finals: Mapping[int, Decimal]
    ) -> None:
        for line in batch.lines:
            if targets[line.position] > 0:
                line.target = targets[line.position]
        self._claim(batch, batch.wants(finals))

    def claim_again(self, batch: ModelBatch) -> None:
        """After its lines have changed: what they want now, and what was poured already."""
        self._claim(batch, batch.wants())

    def _claim(self, batch: ModelBatch, asked: Mapping[str, Decimal]) -> None:
        lots = dict.fromkeys([*asked, *batch.claims])
        claims = {lot: ModelClaim(asked.get(lot, ZERO), batch.poured(lot)) for lot in lots}
        batch.claims = {lot: claim for lot, claim in claims.items() if claim.mass}

    def release(self, batch: ModelBatch) -> None:
        batch.state = "draft"
        batch.claims = {}

    def end(self, batch: ModelBatch, made: str | None) -> list[Entry]:
        """Close a batch into the lot `made`, or void it: what was poured leaves the book, a surplus is counted up."""
        standing = batch.standing()
        entries: list[Entry] = []
        batch.state = "closed" if made else "void"
        for lot in sorted({one.lot for one in standing}, key=list(self.lots).index):
            poured = batch.poured(lot)
            surplus = poured - self.lots[lot].on_hand
            if surplus > 0:
                entries.append(("counted up", None, lot, surplus))
            self.lots[lot].on_hand = max(self.lots[lot].on_hand - poured, ZERO)
        reason = "weighed in" if made else "discarded"
        entries += [(reason, one.lot, made, one.mass) for one in standing]
        batch.claims = {}
        if made:
            self.lots[made] = self._mixed(made, standing)
        return entries

    def evaporates_too_much(self, lot: str, net: Decimal) -> bool:
        there = Fraction(self.there(lot))
        return there - Fraction(net) > self.solvent_share(lot) * there

    def solvent_share(self, lot: str) -> Fraction:
        return sum((x for name, x in self.lots[lot].contents.items() if name in self.solvents), Fraction(0))

    def count(self, number: str, net: Decimal, loss: str) -> list[Entry]:
        lot, there = self.lots[number], self.there(number)
        lot.on_hand += net - there
        if net > there:
            return [("counted up", None, number, net - there)]
        if net == there:
            return []
        if loss == "spilled":
            return [("counted down", number, None, there - net)]
        if net > 0:
            self._dry(lot, Fraction(there), Fraction(net))
        return [("evaporated", number, None, there - net)]

    def discard(self, number: str, mass: Decimal) -> list[Entry]:
        self.lots[number].on_hand -= mass
        return [("discarded", number, None, mass)]

    def draw_off(self, number: str, drawn: str, mass: Decimal) -> list[Entry]:
        source = self.lots[number]
        source.on_hand -= mass
        self.lots[drawn] = ModelLot(drawn, mass, dict(source.contents), {number}, source.slack)
        return [("drawn off", number, drawn, mass)]

    def take_back(self, movement: ModelMovement) -> list[Entry]:
        movement.reversed = True
        if movement.target is not None:
            self.lots[movement.target].on_hand -= movement.mass
            if movement.source is not None:
                self.lots[movement.target].parents.discard(movement.source)
        if movement.source is not None:
            self.lots[movement.source].on_hand += movement.mass
        return [("reversed", movement.target, movement.source, movement.mass)]

    def note(
        self, movement_id: int, reason: str, source: str | None, target: str | None, mass: Decimal
    ) -> None:
        self.ledger[movement_id] = ModelMovement(reason, source, target, mass)

    def ancestors(self, number: str) -> set[str]:
        found: set[str] = set()
        waiting = [number]
        while waiting:
            for parent in self.lots[waiting.pop()].parents - found:
                found.add(parent)
                waiting.append(parent)
        return found

    def _note_poured(self, batch: ModelBatch, lot: str) -> None:
        claim = batch.claims.setdefault(lot, ModelClaim(ZERO))
        claim.poured = batch.poured(lot)
        if not claim.mass:
            del batch.claims[lot]

    def _mixed(self, number: str, parts: list[ModelWeighing]) -> ModelLot:
        whole = sum((Fraction(part.mass) for part in parts), Fraction(0))
        contents: dict[str, Fraction] = {}
        for part in parts:
            for name, share in part.contents.items():
                contents[name] = contents.get(name, Fraction(0)) + Fraction(part.mass) * share / whole
        slack = sum((Fraction(part.mass) * part.slack for part in parts), Fraction(0)) / whole + UNIT
        held = any(self.lots[part.lot].held for part in parts)
        mass = sum((part.mass for part in parts), ZERO)
        return ModelLot(number, mass, contents, {part.lot for part in parts}, slack, held)

    def _dry(self, lot: ModelLot, book: Fraction, actual: Fraction) -> None:
        share = self.solvent_share(lot.number)
        lot.revision += 1
        lot.concentration *= book / actual
        if share in (0, 1):
            return
        left = (share * book - (book - actual)) / share
        lot.contents = {
            name: part * (left if name in self.solvents else book) / actual
            for name, part in lot.contents.items()
        }
        lot.slack = 2 * lot.slack * book / actual + UNIT
