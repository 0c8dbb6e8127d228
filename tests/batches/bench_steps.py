"""The steps of a bench, taken with the service and with the model side by side.

Each step works out from the model alone whether it must be refused, and by what, before it asks the service. A refusal
must leave every table as it was; what is done is done to the model too, and the movements it should have made are
gathered in `expected`.
"""

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import connection

from batches.actions.batch_lock import WrongState
from batches.actions.closing import LinesNotWeighed, NothingWeighed
from batches.actions.rescuing import WayNotOpen, choose_way_on
from batches.actions.reserving import (
    NothingPlanned,
    release_stale_batch,
    reserve_batch,
    stale_batches,
    void_batch,
)
from batches.actions.weigh_plans import AlreadyPoured, PlanDoesNotHold, plan_again, take_other_lot
from batches.actions.weighing import AlreadyStruck, Reading, log_weighings, strike_weighing
from batches.calc.overpour import Way
from batches.models import Batch
from inventory.actions.counting import DriedUp, StillClaimed, count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import NotOnHold, hold_lots, release_lot
from inventory.actions.ledger import LotOnHold, NotEnoughOnHand, Shortage
from inventory.actions.reversing import NotReversible, reverse_movement
from inventory.calc.contents import LossExceedsSolvent
from inventory.models import Lot, LotContent, LotKind
from studio.kernel.errors import Refusal
from tests.batches.bench_model import BenchModel, Entry, ModelBatch, ModelLine, ModelLot
from tests.workbench import Workbench

Refusals = Sequence[type[Refusal]]
DONE: Refusals = ()
STEP = Decimal("0.000001")
STATES = ("draft", "reserved", "weighing", "closed")
STOCKS = ("linalool@10%/ethanol", "vanillin@1%/ethanol")
REVERSIBLE = {"received", "drawn off", "counted up", "counted down", "discarded", "handed over"}
TABLES = (
    "inventory_lot",
    "inventory_lotcontent",
    "inventory_movement",
    "inventory_claim",
    "batches_batch",
    "batches_batchline",
    "batches_weighing",
    "batches_formulaversion",
    "studio_sealedrecord",
    "studio_historyentry",
)


def row_counts() -> tuple[int, ...]:
    """How many rows each table has, and how often lots and batches were changed, in one statement."""
    counted = [f"(SELECT COUNT(*) FROM {table})" for table in TABLES]
    changed = [
        f"(SELECT COALESCE(SUM(edition), 0) FROM {table})" for table in ("inventory_lot", "batches_batch")
    ]
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join([*counted, *changed])}")
        return tuple(int(count) for count in cursor.fetchone())


class BenchSteps:
    """A bench and its model, kept in step."""

    def __init__(self, bench: Workbench, model: BenchModel, versions: Sequence[Any]) -> None:
        self.bench = bench
        self.model = model
        self.versions = versions
        self.expected: list[Entry] = []

    @property
    def acting(self) -> dict[str, Any]:
        return {"by": self.bench.by, "now": self.bench.now}

    def attempt(self, action: Callable[[], Any], *, must: Refusals = DONE, may: Refusals = DONE) -> Any:
        """Do it, or see it refused, which gives None: by one of `must`, if any, or perhaps by one of `may`."""
        before = row_counts()
        try:
            result = action()
        except (*must, *may):
            assert row_counts() == before, "a refusal wrote something"
            return None
        assert not must, f"should have been refused by {must}"
        return result

    # Batches

    def receive(self, text: str) -> None:
        lot = self.bench.bottle(text)
        contents = LotContent.objects.filter(lot=lot).values_list("material__name", "fraction")
        shares = {name: Fraction(fraction) for name, fraction in contents}
        self.expected += self.model.receive(lot.number, lot.made_mass, shares)

    def make(self, plan: int, mass: Decimal, upto: str) -> None:
        """Plan a composition or a stock, and carry it as far as told. What the plan is, is the planner's affair."""
        plan %= len(self.versions) + len(STOCKS)
        batch = self.attempt(
            lambda: (
                self.bench.plan(self.versions[plan], str(mass))
                if plan < len(self.versions)
                else self.bench.plan_stock(f"{STOCKS[plan - len(self.versions)]} {mass}g")
            ),
            may=[Refusal],
        )
        if batch is None:
            return
        made = ModelBatch(batch.number, [])
        self._read_lines(made, batch)
        self.model.batches[batch.number] = made
        steps = {"reserved": self.reserve, "weighing": self.weigh_what_is_left, "closed": self.close}
        for state in STATES[1 : STATES.index(upto) + 1]:
            steps[state](made)
            if made.state != state:
                return

    def reserve(self, batch: ModelBatch) -> None:
        wants = batch.wants()
        must: Refusals = DONE
        if batch.state != "draft":
            must = [WrongState]
        elif not wants:
            must = [NothingPlanned]
        elif any(self.model.lots[lot].held for lot in wants):
            must = [LotOnHold]
        elif any(wanted > self.model.available(lot) for lot, wanted in wants.items()):
            must = [Shortage]
        if self.attempt(lambda: reserve_batch(**self.acting, number=batch.number), must=must):
            self.model.reserve(batch)

    def plan_again(self, batch: ModelBatch) -> None:
        must: Refusals = DONE
        if batch.state in ("closed", "void"):
            must = [WrongState]
        elif batch.weighings:
            must = [AlreadyPoured]
        planned = self.attempt(
            lambda: plan_again(**self.acting, number=batch.number), must=must, may=[Refusal]
        )
        if planned is not None:
            self._read_lines(batch, planned)

    def take_other_lot(self, batch: ModelBatch, place: int, lot: ModelLot) -> None:
        """Whether the lot may serve is the planner's affair; that the claims follow is looked at here."""
        if not batch.lines:
            return
        position = batch.lines[place % len(batch.lines)].position
        must: Refusals = DONE
        if batch.state in ("closed", "void"):
            must = [WrongState]
        elif sum(batch.poured_into(position).values()) >= batch.lines[place % len(batch.lines)].target:
            must = [AlreadyPoured]
        changing = {**self.acting, "number": batch.number, "position": position, "lot": lot.number}
        taken = self.attempt(
            lambda: take_other_lot(**changing), must=must, may=[PlanDoesNotHold, Shortage, LotOnHold]
        )
        if taken is not None:
            self._read_lines(batch, taken)

    def _read_lines(self, batch: ModelBatch, row: Batch) -> None:
        rows = row.lines.order_by("position").values_list("position", "lot__number", "target")
        batch.lines = [ModelLine(*line) for line in rows]
        if batch.state in ("reserved", "weighing"):
            self.model.claim_again(batch)

    def weigh(self, batch: ModelBatch, place: int, share: Decimal, *, named: bool) -> None:
        """Pour `share` of a line's target, or the least that there is for a share of nothing."""
        if batch.lines:
            line = batch.lines[place % len(batch.lines)]
            self.log(batch, [(line, (line.target * share).quantize(STEP) or STEP)], named=named)

    def weigh_what_is_left(self, batch: ModelBatch) -> None:
        left = [(line, line.target) for line in batch.lines if line.position in batch.unweighed()]
        if left:
            self.log(batch, left)

    def log(self, batch: ModelBatch, pours: list[tuple[ModelLine, Decimal]], *, named: bool = False) -> None:
        """Record these pours in one call; those that are named are sent twice and recorded once."""
        readings = [
            Reading(
                position=line.position,
                lot=line.lot,
                mass=mass,
                confirmed=True,
                operation=f"{batch.number} {len(batch.weighings)} {place}" if named else None,
            )
            for place, (line, mass) in enumerate(pours)
        ]
        must: Refusals = DONE
        if batch.state not in ("reserved", "weighing"):
            must = [WrongState]
        elif any(self.model.lots[line.lot].held for line, _ in pours):
            must = [LotOnHold]
        logging = {**self.acting, "number": batch.number, "readings": readings}
        logged = self.attempt(lambda: log_weighings(**logging), must=must)
        if logged is None:
            return
        for weighing, (line, mass) in zip(logged, pours, strict=True):
            self.model.weigh(batch, weighing.id, line, mass)
        if named:
            assert log_weighings(**logging) == logged

    def strike(self, batch: ModelBatch, place: int) -> None:
        if not batch.weighings:
            return
        weighing_id = list(batch.weighings)[place % len(batch.weighings)]
        must: Refusals = DONE
        if batch.state != "weighing":
            must = [WrongState]
        elif batch.weighings[weighing_id].struck:
            must = [AlreadyStruck]
        striking = {**self.acting, "number": batch.number, "weighing_id": weighing_id, "why": "misread"}
        if self.attempt(lambda: strike_weighing(**striking), must=must):
            self.model.strike(batch, weighing_id)

    def choose_a_way_on(self, batch: ModelBatch, way: Way) -> None:
        """What the way is, is for its own tests; here it must be claimed as told, and never oversell."""
        before = {lot: claim.mass for lot, claim in batch.claims.items()}
        chosen = self.attempt(
            lambda: choose_way_on(**self.acting, number=batch.number, way=way),
            must=DONE if batch.state == "weighing" else [WrongState],
            may=[WayNotOpen, Shortage, LotOnHold],
        )
        if chosen is None:
            return
        outcomes = {int(outcome.key): outcome for outcome in chosen[1].lines}
        self.model.retarget(
            batch,
            {position: outcome.target for position, outcome in outcomes.items()},
            {position: outcome.final for position, outcome in outcomes.items()},
        )
        for lot, claim in batch.claims.items():
            if claim.mass > before.get(lot, 0):
                assert self.model.reserved(lot) <= self.model.lots[lot].on_hand, "a way on oversold a lot"

    def close(self, batch: ModelBatch, left_out: str = "") -> None:
        if batch.state == "closed":
            assert self._closed(batch, "").made_in == batch.number
            return
        must: Refusals = DONE
        if batch.state in ("draft", "void"):
            must = [WrongState]
        elif not batch.standing():
            must = [NothingWeighed]
        elif batch.unweighed() and not left_out:
            must = [LinesNotWeighed]
        made = self.attempt(lambda: self._closed(batch, left_out), must=must)
        if made is not None:
            self.expected += self.model.end(batch, made.number)

    def _closed(self, batch: ModelBatch, left_out: str) -> Lot:
        row = Batch.objects.get(studio=self.bench.by.studio, number=batch.number)
        return self.bench.close(row, left_out_reason=left_out, strength_decision="keep declared")

    def void(self, batch: ModelBatch) -> None:
        done = self.attempt(
            lambda: void_batch(**self.acting, number=batch.number, why="given up"),
            must=[WrongState] if batch.state in ("closed", "void") else DONE,
        )
        if done:
            self.expected += self.model.end(batch, None)

    def let_stale_claims_go(self) -> None:
        self.bench.later(days=self.bench.by.studio.claim_days + 1)
        for stale in stale_batches(studio=self.bench.by.studio, now=self.bench.now):
            assert release_stale_batch(now=self.bench.now, batch=stale)
            self.model.release(self.model.batches[stale.number])
        assert all(batch.standing() for batch in self.model.batches.values() if batch.claims)

    # Lots

    def count(self, lot: ModelLot, share: Decimal, loss: Any) -> None:
        there = self.model.there(lot.number)
        net = max((there * share).quantize(STEP), Decimal(0))
        must: Refusals = DONE
        may: Refusals = DONE
        if loss == "evaporated" and net < there:
            solvent = self.model.solvent_share(lot.number) * Fraction(there)
            lost = Fraction(there - net)
            if abs(solvent - lost) <= 2 * lot.slack * Fraction(there):
                may = [LossExceedsSolvent]  # too near to tell by nine places
            elif lost > solvent:
                must = [LossExceedsSolvent]
            elif net > 0 and lot.concentration * Fraction(there) / Fraction(net) >= 10_000:
                must = [DriedUp]
        counting = {**self.acting, "number": lot.number, "gross": net + 5, "tare": Decimal(5), "loss": loss}
        if self.attempt(lambda: count_lot(**counting), must=must, may=may):
            self.expected += self.model.count(lot.number, net, loss)

    def discard(self, lot: ModelLot, share: Decimal | None, *, despite_claims: bool) -> None:
        """Discard a share of what the book says, or all that is there."""
        there = self.model.there(lot.number)
        mass = None if share is None else (lot.on_hand * share).quantize(STEP)
        gone = there if mass is None else mass
        must: Refusals = DONE
        if gone > max(there, 0):
            must = [NotEnoughOnHand]
        elif (
            gone > self.model.available(lot.number) and self.model.reserved(lot.number) and not despite_claims
        ):
            must = [StillClaimed]
        discarding = {**self.acting, "number": lot.number, "why": "old", "despite_claims": despite_claims}
        done = self.attempt(lambda: discard(**discarding, mass=mass), must=must)
        if done is not None and gone > 0:
            self.expected += self.model.discard(lot.number, gone)

    def draw_off(self, lot: ModelLot, share: Decimal, kind: LotKind) -> None:
        mass = (lot.on_hand * share / 4).quantize(STEP) or STEP
        must: Refusals = DONE
        if lot.held:
            must = [LotOnHold]
        elif mass > self.model.available(lot.number):
            must = [Shortage]
        drawing = {**self.acting, "number": lot.number, "mass": mass, "container": Container(kind=kind)}
        drawn = self.attempt(lambda: draw_off(**drawing), must=must)
        if drawn:
            self.expected += self.model.draw_off(lot.number, drawn.number, mass)

    def hold(self, lot: ModelLot) -> None:
        hold_lots(**self.acting, lot_ids=[self._id_of(lot)], why="smells of rubber")
        lot.held = True

    def release(self, lot: ModelLot) -> None:
        releasing = {**self.acting, "lot_id": self._id_of(lot), "why": "all is well"}
        if self.attempt(lambda: release_lot(**releasing), must=DONE if lot.held else [NotOnHold]):
            lot.held = False

    def take_back(self, movement_id: int) -> None:
        done = self.attempt(
            lambda: reverse_movement(**self.acting, movement_id=movement_id, why="wrong"),
            must=self._against_taking_back(movement_id),
        )
        if done:
            self.expected += self.model.take_back(self.model.ledger[movement_id])

    def _against_taking_back(self, movement_id: int) -> Refusals:
        wrong = self.model.ledger[movement_id]
        if wrong.reversed or wrong.reason not in REVERSIBLE:
            return [NotReversible]
        later = [one for other, one in self.model.ledger.items() if other > movement_id]
        if any(one.reason == "evaporated" and one.source in (wrong.source, wrong.target) for one in later):
            return [NotReversible]
        if wrong.target is None:
            return DONE
        poured_on = any(
            one.source == wrong.target and one.reason in ("weighed in", "drawn off") and not one.reversed
            for one in later
        )
        if wrong.reason == "drawn off" and (poured_on or self.model.poured(wrong.target)):
            return [NotReversible]
        if wrong.mass > self.model.available(wrong.target) and self.model.reserved(wrong.target) > 0:
            return [NotReversible]
        return [NotEnoughOnHand] if wrong.mass > self.model.lots[wrong.target].on_hand else DONE

    def _id_of(self, lot: ModelLot) -> int:
        return Lot.objects.of(self.bench.by.studio).get(number=lot.number).id
