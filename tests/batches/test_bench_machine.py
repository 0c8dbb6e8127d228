"""A bench worked at random: whatever is done in whatever order, the database holds what an exact model says.

Each run receives, makes, weighs, corrects, counts, voids and takes back, and knows of every step whether it must be
done or refused, and by which refusal (`bench_steps`). After each step all lots, claims, batches, contents and movements
are compared with the model, and the service's own proof is asked too. Every run starts from the same morning and is
undone at its end.
"""

from collections.abc import Sequence
from copy import deepcopy
from decimal import Decimal
from typing import Any, get_args

from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from batches.calc.overpour import Way
from inventory.models import LotKind
from tests.batches.bench_comparison import assert_same, assert_same_ancestries
from tests.batches.bench_model import BenchModel, ModelBatch, ModelLot
from tests.batches.bench_steps import BenchSteps
from tests.workbench import SOLVENTS, Workbench, assert_everything_holds

FORMULAS = (
    ("accord", "linalool 2", "vanillin 1", "ethanol 7"),
    ("animal", "indole@10%/dipropylene glycol 1", "ethanol 3"),
    ("doubled", "linalool 1", "vanillin 1", "linalool 2"),
)
BOTTLES = ("linalool", "vanillin", "indole@10%/dipropylene glycol", "ethanol")
UPTO = ("draft", "reserved", "reserved", "weighing", "closed")
ON_A_BATCH = (
    *("reserve", "plan again", "other lot", "weigh", "weigh", "weigh the rest"),
    *("strike", "way on", "way on", "close", "close", "void"),
)
ON_A_LOT = ("count", "count", "discard", "draw off", "hold", "release")

grams = st.sampled_from(["0.000100", "0.123457", "2.5", "7", "16.000001", "40"]).map(Decimal)
shares = st.sampled_from(["0", "0.000001", "0.5", "0.9", "0.999", "1", "1.2"]).map(Decimal)
pours = st.sampled_from(["0", "0.1", "0.5", "1", "1.3", "4", "40"]).map(Decimal)
which = st.integers(0, 2**16)


class Bench(RuleBasedStateMachine):
    """Few rules that each choose among many steps, so that every run mixes them all."""

    def __init__(self, bench: Workbench, model: BenchModel, versions: Sequence[Any]) -> None:
        super().__init__()
        self.undone = transaction.atomic()
        self.undone.__enter__()
        self.steps = BenchSteps(bench, model, versions)

    def teardown(self) -> None:
        try:
            assert_same_ancestries(self.steps.bench.by.studio, self.steps.model)
        finally:
            transaction.set_rollback(True)
            self.undone.__exit__(None, None, None)

    @rule(pick=which, mass=grams, upto=st.sampled_from(UPTO))
    def make(self, pick: int, mass: Decimal, upto: str) -> None:
        self.steps.make(pick, mass, upto)

    @rule(step=st.sampled_from(ON_A_BATCH), pick=which, detail=which, pour=pours)
    def work_on_a_batch(self, step: str, pick: int, detail: int, pour: Decimal) -> None:
        steps = self.steps
        match step:
            case "reserve":
                steps.reserve(self.batch(pick, "draft"))
            case "plan again":
                steps.plan_again(self.batch(pick, "draft", "reserved"))
            case "other lot":
                steps.take_other_lot(
                    self.batch(pick, "reserved", "weighing"), detail, self.lot(2 * (detail // 8))
                )
            case "weigh":
                steps.weigh(self.batch(pick, "reserved", "weighing"), detail, pour, named=detail % 5 == 0)
            case "weigh the rest":
                steps.weigh_what_is_left(self.batch(pick, "reserved", "weighing"))
            case "strike":
                steps.strike(self.batch(pick, "weighing"), detail)
            case "way on":
                steps.choose_a_way_on(self.batch(pick, "weighing"), get_args(Way)[detail % 4])
            case "close":
                steps.close(self.batch(pick, "weighing"), "none on the shelf" if detail % 2 else "")
            case "void":
                steps.void(self.batch(pick, "draft", "reserved", "weighing"))

    @rule(step=st.sampled_from(ON_A_LOT), pick=which, detail=which, share=shares)
    def handle_a_lot(self, step: str, pick: int, detail: int, share: Decimal) -> None:
        steps, lot = self.steps, self.lot(pick)
        match step:
            case "count":
                steps.count(lot, share, "evaporated" if detail % 2 else "spilled")
            case "discard":
                steps.discard(lot, share if detail % 3 else None, despite_claims=detail % 2 == 0)
            case "draw off":
                steps.draw_off(lot, share, LotKind.BOTTLE if detail % 2 else LotKind.VIAL)
            case "hold":
                steps.hold(lot)
            case "release":
                steps.release(lot)

    @rule(pick=which, text=st.sampled_from(BOTTLES), mass=grams)
    def take_back_or_receive(self, pick: int, text: str, mass: Decimal) -> None:
        if pick % 4 == 0:
            self.steps.receive(f"{text} {mass}g")
        elif pick % 16 == 1:
            self.steps.let_stale_claims_go()
        else:
            ledger = list(self.steps.model.ledger)
            self.steps.take_back(ledger[-1 - pick // 4 % len(ledger)])

    @invariant()
    def everything_is_as_the_model_says(self) -> None:
        assert_same(self.steps.bench.by.studio, self.steps.model, self.steps.expected)
        self.steps.expected = []
        assert_everything_holds()

    def batch(self, pick: int, *states: str) -> ModelBatch:
        """One of the batches in these states, and now and then any, to be refused."""
        batches = list(self.steps.model.batches.values())
        fitting = [batch for batch in batches if batch.state in states]
        if not fitting or pick % 8 == 0:
            fitting = batches
        return fitting[pick // 8 % len(fitting)]

    def lot(self, pick: int) -> ModelLot:
        """One that open batches have claimed, every other time, else any."""
        model = self.steps.model
        claimed = [lot for batch in model.batches.values() for lot in batch.claims]
        numbers = claimed if claimed and pick % 2 else list(model.lots)
        return model.lots[numbers[pick // 2 % len(numbers)]]


def test_a_bench_worked_at_random_holds_what_the_model_says(bench: Workbench) -> None:
    versions = [bench.formula(code, *lines) for code, *lines in FORMULAS]
    morning = Bench(bench, BenchModel(set(SOLVENTS)), versions)
    for text in ("linalool 50g", "vanillin 20g", "indole@10%/dipropylene glycol 30g", "ethanol 400g"):
        morning.steps.receive(text)
    for plan, upto in enumerate(["closed", "weighing", "reserved"]):
        morning.make(plan, Decimal(10), upto)
    morning.everything_is_as_the_model_says()

    def another_day() -> Bench:
        fresh = Workbench(bench.by, bench.now)
        fresh.materials = dict(bench.materials)
        return Bench(fresh, deepcopy(morning.steps.model), versions)

    run_state_machine_as_test(
        another_day,
        settings=settings(
            max_examples=25,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    morning.teardown()
