"""A bench worked at random: whatever is done in whatever order, the database holds what an exact model says.

Each run receives, makes, weighs, corrects, counts, voids and takes back, and knows of every step whether it must be
done or refused, and by which refusal. After each step all lots, claims, batches, contents and movements are compared
with the model, and the service's own proof is asked too. A refusal must leave every table as it was.
"""

from collections.abc import Callable, Sequence
from copy import deepcopy
from decimal import Decimal
from fractions import Fraction
from typing import Any, get_args

from django.db import connection, transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

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
from batches.actions.weighing import AlreadyStruck, Reading, log_weighings, strike_weighing
from batches.calc.overpour import Way
from batches.models import Batch, BatchLine, Weighing
from inventory.actions.counting import DriedUp, StillClaimed, count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import NotOnHold, hold_lots, release_lot
from inventory.actions.ledger import LotOnHold, NotEnoughOnHand, Shortage
from inventory.actions.reversing import NotReversible, reverse_movement
from inventory.calc.contents import LossExceedsSolvent
from inventory.models import Claim, ClaimState, Lot, LotContent, LotKind, Movement
from inventory.queries.trace import trace_lot
from studio.kernel.errors import Refusal
from tests.batches.bench_model import BenchModel, Entry, ModelBatch, ModelLine, ModelLot
from tests.workbench import SOLVENTS, Workbench, assert_everything_holds

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
FORMULAS = (
    ("accord", "linalool 2", "vanillin 1", "ethanol 7"),
    ("animal", "indole@10%/dipropylene glycol 1", "ethanol 3"),
    ("doubled", "linalool 1", "vanillin 1", "linalool 2"),
)
UPTO = ("draft", "reserved", "weighing", "closed")
STEP = Decimal("0.000001")
STOCKS = ("linalool@10%/ethanol", "vanillin@1%/ethanol")
REVERSIBLE = {"received", "drawn off", "counted up", "counted down", "discarded", "handed over"}
PLANNERS_SAY: tuple[type[Refusal], ...] = (Refusal,)
DONE: tuple[type[Refusal], ...] = ()

grams = st.sampled_from(["0.000100", "0.123457", "2.5", "7", "16.000001", "40"]).map(Decimal)
tiny = st.integers(1, 50).map(lambda count: Decimal(count).scaleb(-6))
which = st.integers(0, 2**16)
part = st.sampled_from(["0", "0.000001", "0.5", "0.9", "0.999", "1", "1.2"]).map(Decimal)


class Bench(RuleBasedStateMachine):
    """The service and the model, worked side by side. All is undone at the end of a run."""

    def __init__(self, bench: Workbench, model: BenchModel, versions: Sequence[Any]) -> None:
        super().__init__()
        self.undone = transaction.atomic()
        self.undone.__enter__()
        self.bench = bench
        self.model = model
        self.versions = versions
        self.expected: list[Entry] = []

    def teardown(self) -> None:
        try:
            self.ancestries_are_traced()
        finally:
            transaction.set_rollback(True)
            self.undone.__exit__(None, None, None)

    @property
    def acting(self) -> dict[str, Any]:
        return {"by": self.bench.by, "now": self.bench.now}

    def attempt(
        self,
        action: Callable[[], Any],
        *,
        must: Sequence[type[Refusal]] = DONE,
        may: Sequence[type[Refusal]] = DONE,
    ) -> Any:
        """Do it; returns None when it was refused. `must` refuse it with one of these, `may` refuse it with one of those."""
        before = row_counts()
        try:
            result = action()
        except (*must, *may):
            assert row_counts() == before, "a refusal wrote something"
            return None
        assert not must, f"should have been refused by {must}"
        return result

    def lot(self, pick: int) -> ModelLot:
        lots = list(self.model.lots.values())
        return lots[pick % len(lots)]

    def batch(self, pick: int, *states: str) -> ModelBatch:
        """One of the batches in these states, and now and then any, to be refused."""
        batches = list(self.model.batches.values())
        fitting = [batch for batch in batches if batch.state in states]
        if not fitting or pick % 8 == 0:
            fitting = batches
        return fitting[pick // 8 % len(fitting)]

    def some(self, *states: str) -> bool:
        return any(batch.state in states for batch in self.model.batches.values())

    # Stocking the shelf, planning

    def start_the_day(self) -> None:
        """What every run finds: some bottles, a closed batch, one being weighed and a reserved one."""
        for text in ("linalool 50g", "vanillin 20g", "indole@10%/dipropylene glycol 30g", "ethanol 400g"):
            self.receive_it(text)
        for place, upto in enumerate(["closed", "weighing", "reserved"]):
            self.make_it(place, Decimal(10), upto)
        self.everything_is_as_the_model_says()

    def receive_it(self, text: str) -> None:
        lot = self.bench.bottle(text)
        contents = LotContent.objects.filter(lot=lot).values_list("material__name", "fraction")
        shares = {name: Fraction(fraction) for name, fraction in contents}
        self.expected += self.model.receive(lot.number, lot.made_mass, shares)

    @rule(
        text=st.sampled_from(["linalool", "vanillin", "indole@10%/dipropylene glycol", "ethanol"]), mass=grams
    )
    def receive(self, text: str, mass: Decimal) -> None:
        self.receive_it(f"{text} {mass}g")

    @rule(
        pick=which, mass=grams, upto=st.sampled_from(["draft", "reserved", "reserved", "weighing", "closed"])
    )
    def make(self, pick: int, mass: Decimal, upto: str) -> None:
        self.make_it(pick, mass, upto)

    def make_it(self, pick: int, mass: Decimal, upto: str) -> None:
        """Plan a composition or a stock, and carry it as far as told."""
        plan = pick % (len(self.versions) + len(STOCKS))
        batch = self.attempt(
            lambda: (
                self.bench.plan(self.versions[plan], str(mass))
                if plan < len(self.versions)
                else self.bench.plan_stock(f"{STOCKS[plan - len(self.versions)]} {mass}g")
            ),
            may=PLANNERS_SAY,
        )
        if batch is None:
            return
        rows = batch.lines.order_by("position").values_list("position", "lot__number", "target")
        made = ModelBatch(batch.number, [ModelLine(*row) for row in rows])
        self.model.batches[batch.number] = made
        steps = {"reserved": self.reserve_it, "weighing": self.weigh_the_rest_of, "closed": self.close_it}
        for state in ("reserved", "weighing", "closed")[: UPTO.index(upto)]:
            steps[state](made)
            if made.state != state:
                return

    # A batch in hand

    @precondition(lambda self: self.some("draft"))
    @rule(pick=which)
    def reserve(self, pick: int) -> None:
        self.reserve_it(self.batch(pick, "draft"))

    def reserve_it(self, batch: ModelBatch) -> None:
        wants = batch.wants()
        must: Sequence[type[Refusal]] = DONE
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

    @precondition(lambda self: self.some("reserved", "weighing"))
    @rule(
        pick=which,
        line=which,
        share=st.sampled_from(["0.1", "0.5", "1", "1.3", "4", "40"]),
        again=st.booleans(),
    )
    def weigh(self, pick: int, line: int, share: str, again: bool) -> None:
        batch = self.batch(pick, "reserved", "weighing")
        if batch.lines:
            chosen = batch.lines[line % len(batch.lines)]
            mass = (chosen.target * Decimal(share)).quantize(STEP) or STEP
            self.log(batch, [(chosen, mass)], again=again)

    @precondition(lambda self: self.some("reserved", "weighing"))
    @rule(pick=which, line=which, mass=tiny)
    def weigh_a_trace(self, pick: int, line: int, mass: Decimal) -> None:
        batch = self.batch(pick, "reserved", "weighing")
        if batch.lines:
            self.log(batch, [(batch.lines[line % len(batch.lines)], mass)])

    @precondition(lambda self: self.some("reserved", "weighing"))
    @rule(pick=which)
    def weigh_what_is_left(self, pick: int) -> None:
        self.weigh_the_rest_of(self.batch(pick, "reserved", "weighing"))

    def weigh_the_rest_of(self, batch: ModelBatch) -> None:
        left = [(line, line.target) for line in batch.lines if line.position in batch.unweighed()]
        if left:
            self.log(batch, left)

    def log(self, batch: ModelBatch, pours: list[tuple[ModelLine, Decimal]], *, again: bool = False) -> None:
        """Record these pours in one call; with `again` they have names, and sending them twice changes nothing."""
        readings = [
            Reading(
                position=line.position,
                lot=line.lot,
                mass=mass,
                confirmed=True,
                operation=f"{batch.number} {len(batch.weighings)} {place}" if again else None,
            )
            for place, (line, mass) in enumerate(pours)
        ]
        must: Sequence[type[Refusal]] = DONE
        if batch.state not in ("reserved", "weighing"):
            must = [WrongState]
        elif any(self.model.lots[line.lot].held for line, _ in pours):
            must = [LotOnHold]
        logged = self.attempt(
            lambda: log_weighings(**self.acting, number=batch.number, readings=readings), must=must
        )
        if logged is None:
            return
        for weighing, (line, mass) in zip(logged, pours, strict=True):
            self.model.weigh(batch, weighing.id, line, mass)
        if again:
            assert log_weighings(**self.acting, number=batch.number, readings=readings) == logged

    @precondition(lambda self: any(batch.weighings for batch in self.model.batches.values()))
    @rule(pick=which, entry=which)
    def strike(self, pick: int, entry: int) -> None:
        batch = self.batch(pick, "weighing")
        if not batch.weighings:
            return
        weighing_id = list(batch.weighings)[entry % len(batch.weighings)]
        must: Sequence[type[Refusal]] = DONE
        if batch.state != "weighing":
            must = [WrongState]
        elif batch.weighings[weighing_id].struck:
            must = [AlreadyStruck]
        acting = {**self.acting, "number": batch.number, "why": "misread"}
        if self.attempt(lambda: strike_weighing(**acting, weighing_id=weighing_id), must=must):
            self.model.strike(batch, weighing_id)

    @precondition(lambda self: self.some("weighing"))
    @rule(pick=which, way=st.sampled_from(get_args(Way)))
    def choose_a_way_on(self, pick: int, way: Way) -> None:
        batch = self.batch(pick, "weighing")
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

    @precondition(lambda self: self.some("reserved", "weighing"))
    @rule(pick=which, left_out=st.sampled_from(["", "none on the shelf"]))
    def close(self, pick: int, left_out: str) -> None:
        self.close_it(self.batch(pick, "weighing"), left_out)

    def close_it(self, batch: ModelBatch, left_out: str = "") -> None:
        must: Sequence[type[Refusal]] = DONE
        if batch.state in ("draft", "void"):
            must = [WrongState]
        elif batch.state == "closed":
            assert self.closed(batch, "").made_in == batch.number
            return
        elif not batch.standing():
            must = [NothingWeighed]
        elif batch.unweighed() and not left_out:
            must = [LinesNotWeighed]
        made = self.attempt(lambda: self.closed(batch, left_out), must=must)
        if made is not None:
            self.expected += self.model.end(batch, made.number)

    def closed(self, batch: ModelBatch, left_out: str) -> Lot:
        row = Batch.objects.get(studio=self.bench.by.studio, number=batch.number)
        return self.bench.close(row, left_out_reason=left_out, strength_decision="keep declared")

    @precondition(lambda self: self.some("draft", "reserved", "weighing"))
    @rule(pick=which)
    def void(self, pick: int) -> None:
        batch = self.batch(pick, "weighing", "reserved", "draft")
        done = self.attempt(
            lambda: void_batch(**self.acting, number=batch.number, why="given up"),
            must=[WrongState] if batch.state in ("closed", "void") else DONE,
        )
        if done:
            self.expected += self.model.end(batch, None)

    @precondition(lambda self: self.some("reserved"))
    @rule()
    def let_stale_claims_go(self) -> None:
        self.bench.later(days=self.bench.by.studio.claim_days + 1)
        for stale in stale_batches(studio=self.bench.by.studio, now=self.bench.now):
            assert release_stale_batch(now=self.bench.now, batch=stale)
            self.model.release(self.model.batches[stale.number])
        assert not self.some("reserved")

    # The shelf

    @rule(pick=which, share=part, loss=st.sampled_from(["spilled", "evaporated"]))
    def count(self, pick: int, share: Decimal, loss: Any) -> None:
        lot = self.lot(pick)
        there = self.model.there(lot.number)
        net = max((there * share).quantize(STEP), Decimal(0))
        must: Sequence[type[Refusal]] = DONE
        may: Sequence[type[Refusal]] = DONE
        if loss == "evaporated" and net < there:
            solvent = self.model.solvent_share(lot.number) * Fraction(there)
            if abs(solvent - Fraction(there - net)) <= 2 * lot.slack * Fraction(there):
                may = [LossExceedsSolvent]  # too near to tell by nine places
            elif self.model.evaporates_too_much(lot.number, net):
                must = [LossExceedsSolvent]
            elif net > 0 and lot.concentration * Fraction(there) / Fraction(net) >= 10_000:
                must = [DriedUp]
        counted = self.attempt(
            lambda: count_lot(
                **self.acting, number=lot.number, gross=net + 5, tare=Decimal(5), loss=loss, why="counted"
            ),
            must=must,
            may=may,
        )
        if counted is not None:
            self.expected += self.model.count(lot.number, net, loss)

    @rule(pick=which, share=part, despite=st.booleans(), everything=st.booleans())
    def discard(self, pick: int, share: Decimal, despite: bool, everything: bool) -> None:
        lot = self.lot(pick)
        there, available = self.model.there(lot.number), self.model.available(lot.number)
        mass = (lot.on_hand * share).quantize(STEP)
        gone = there if everything else mass
        must: Sequence[type[Refusal]] = DONE
        if gone <= 0:
            pass
        elif gone > there:
            must = [NotEnoughOnHand]
        elif gone > available and self.model.reserved(lot.number) > 0 and not despite:
            must = [StillClaimed]
        acting = {**self.acting, "number": lot.number, "why": "old", "despite_claims": despite}
        done = self.attempt(lambda: discard(**acting, mass=None if everything else mass), must=must)
        if done is not None and gone > 0:
            self.expected += self.model.discard(lot.number, gone)

    @rule(pick=which, share=part, kind=st.sampled_from([LotKind.VIAL, LotKind.BOTTLE]))
    def draw_off(self, pick: int, share: Decimal, kind: LotKind) -> None:
        lot = self.lot(pick)
        mass = (lot.on_hand * share / 4).quantize(STEP) or STEP
        must: Sequence[type[Refusal]] = DONE
        if lot.held:
            must = [LotOnHold]
        elif mass > self.model.available(lot.number):
            must = [Shortage]
        drawn = self.attempt(
            lambda: draw_off(**self.acting, number=lot.number, mass=mass, container=Container(kind=kind)),
            must=must,
        )
        if drawn:
            self.expected += self.model.draw_off(lot.number, drawn.number, mass)

    @rule(pick=which)
    def hold_or_release(self, pick: int) -> None:
        lot = self.lot(pick)
        if pick % 2 == 0:
            claimed = [lot for batch in self.model.batches.values() for lot in batch.claims]
            lot = self.model.lots[claimed[pick // 2 % len(claimed)]] if claimed else lot
            hold_lots(**self.acting, lot_ids=[self.id_of(lot)], why="smells of rubber")
            lot.held = True
            return
        held = [one for one in self.model.lots.values() if one.held]
        lot = held[pick % len(held)] if held else lot
        must = DONE if lot.held else [NotOnHold]
        lot_id = self.id_of(lot)
        if self.attempt(lambda: release_lot(**self.acting, lot_id=lot_id, why="all is well"), must=must):
            lot.held = False

    @rule(pick=which)
    def take_back(self, pick: int) -> None:
        movement_id = list(self.model.ledger)[pick % len(self.model.ledger)]
        wrong = self.model.ledger[movement_id]
        done = self.attempt(
            lambda: reverse_movement(**self.acting, movement_id=movement_id, why="wrong"),
            must=self.against_taking_back(movement_id),
        )
        if done:
            self.expected += self.model.take_back(wrong)

    def against_taking_back(self, movement_id: int) -> Sequence[type[Refusal]]:
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

    # What must hold after every step

    @invariant()
    def everything_is_as_the_model_says(self) -> None:
        self.the_lots_are_those_of_the_model()
        self.the_claims_are_those_of_the_model()
        self.the_batches_are_those_of_the_model()
        self.the_contents_are_those_of_the_model()
        self.the_ledger_grew_by_what_the_model_says()
        assert_everything_holds()

    def the_lots_are_those_of_the_model(self) -> None:
        rows = Lot.objects.of(self.bench.by.studio).order_by("id")
        found = {
            row[0]: (row[1], row[2], row[3] is not None, row[4], row[5] is not None)
            for row in rows.values_list(
                "number", "on_hand", "reserved", "held_at", "contents_revision", "emptied_at"
            )
        }
        assert found == {
            lot.number: (
                lot.on_hand,
                self.model.reserved(lot.number),
                lot.held,
                lot.revision,
                lot.on_hand == 0,
            )
            for lot in self.model.lots.values()
        }

    def the_claims_are_those_of_the_model(self) -> None:
        rows = Claim.objects.of(self.bench.by.studio).filter(state=ClaimState.OPEN)
        found = {
            row[:2]: row[2:] for row in rows.values_list("purpose", "lot__number", "asked", "poured", "mass")
        }
        assert found == {
            (batch.number, lot): (claim.asked, claim.poured, claim.mass)
            for batch in self.model.batches.values()
            for lot, claim in batch.claims.items()
        }

    def the_batches_are_those_of_the_model(self) -> None:
        studio = self.bench.by.studio
        states = dict(Batch.objects.of(studio).values_list("number", "state"))
        assert states == {batch.number: batch.state for batch in self.model.batches.values()}
        targets = BatchLine.objects.of(studio).values_list("batch__number", "position", "target")
        assert {row[:2]: row[2] for row in targets} == {
            (batch.number, line.position): line.target
            for batch in self.model.batches.values()
            for line in batch.lines
        }
        weighed = Weighing.objects.of(studio).values_list("id", "mass", "struck_at")
        assert {row[0]: (row[1], row[2] is not None) for row in weighed} == {
            weighing_id: (weighing.mass, weighing.struck)
            for batch in self.model.batches.values()
            for weighing_id, weighing in batch.weighings.items()
        }

    def the_contents_are_those_of_the_model(self) -> None:
        rows = LotContent.objects.of(self.bench.by.studio).values_list(
            "lot__number", "revision", "material__name", "fraction"
        )
        found: dict[str, dict[str, Fraction]] = {}
        for number, revision, name, fraction in rows:
            if revision == self.model.lots[number].revision:
                found.setdefault(number, {})[name] = Fraction(fraction)
        for number, lot in self.model.lots.items():
            for name in {*lot.contents, *found[number]}:
                off = abs(found[number].get(name, Fraction(0)) - lot.contents.get(name, Fraction(0)))
                assert off <= lot.slack, (
                    f"{name} in {number} is off by {float(off)}, slack {float(lot.slack)}"
                )

    def the_ledger_grew_by_what_the_model_says(self) -> None:
        rows = (
            Movement.objects.of(self.bench.by.studio)
            .filter(id__gt=max(self.model.ledger, default=0))
            .order_by("id")
            .values_list("id", "reason", "source__number", "target__number", "mass")
        )
        fresh = list(rows)
        assert [row[1:] for row in fresh] == self.expected
        for movement_id, *entry in fresh:
            self.model.note(movement_id, *entry)
        self.expected = []

    def ancestries_are_traced(self) -> None:
        for lot in Lot.objects.of(self.bench.by.studio).order_by("id"):
            traced = {one.lot.number for one in trace_lot(lot=lot, direction="back").lots}
            assert traced == self.model.ancestors(lot.number)

    def id_of(self, lot: ModelLot) -> int:
        return Lot.objects.of(self.bench.by.studio).get(number=lot.number).id


def row_counts() -> tuple[int, ...]:
    """How many rows each table has, and how often lots and batches were changed, in one statement."""
    counted = ", ".join(f"(SELECT COUNT(*) FROM {table})" for table in TABLES)
    editions = ", ".join(
        f"(SELECT COALESCE(SUM(edition), 0) FROM {table})" for table in ("inventory_lot", "batches_batch")
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {counted}, {editions}")
        return tuple(int(count) for count in cursor.fetchone())


def test_a_bench_worked_at_random_holds_what_the_model_says(bench: Workbench) -> None:
    versions = [bench.formula(code, *lines) for code, *lines in FORMULAS]
    morning = Bench(bench, BenchModel(set(SOLVENTS)), versions)
    morning.start_the_day()

    def another_day() -> Bench:
        fresh = Workbench(bench.by, bench.now)
        fresh.materials = dict(bench.materials)
        return Bench(fresh, deepcopy(morning.model), versions)

    run_state_machine_as_test(
        another_day,
        settings=settings(
            max_examples=30,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    morning.teardown()
