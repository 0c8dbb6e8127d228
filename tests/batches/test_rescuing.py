"""After an overpour: a way on is chosen, and the open targets and the claims are rewritten together.

Worked by hand: three parts of ten are linalool, two vanillin, five ethanol; of 20 g, 6.6 g of linalool were poured
instead of 6.
"""

from decimal import Decimal
from typing import Any

import pytest

from batches.actions.batch_lock import WrongState
from batches.actions.rescuing import WayNotOpen, choose_way_on
from batches.calc.overpour import Way
from batches.models import Batch
from batches.queries.batches import batch_in_hand, ways_on
from inventory.actions.counting import discard
from inventory.actions.drawing_off import draw_off
from inventory.models import Claim, ClaimState, Lot
from studio.kernel.errors import StaleEdition
from studio.models import HistoryEntry
from tests.workbench import Workbench, assert_everything_holds

D = Decimal


@pytest.fixture
def lots(bench: Workbench) -> dict[str, Lot]:
    return {name: bench.bottle(f"{name} 20g") for name in ("linalool", "vanillin", "ethanol")}


def overpoured(bench: Workbench, poured: str = "6.6", **circumstances: Any) -> Batch:
    circumstances = {"tolerance": D("0.02"), **circumstances}
    formula = bench.formula("accord", "linalool 3", "vanillin 2", "ethanol 5")
    batch = bench.plan(formula, "20", **circumstances)
    bench.reserve(batch)
    bench.weigh(batch, 1, poured)
    return batch


def choose(bench: Workbench, batch: Batch, way: Way, **details: Any) -> Any:
    return choose_way_on(by=bench.by, now=bench.now, number=batch.number, way=way, **details)[1]


def targets(batch: Batch) -> list[Decimal]:
    return list(batch.lines.order_by("position").values_list("target", flat=True))


def claimed(batch: Batch) -> dict[str, Decimal]:
    open_claims = Claim.objects.of(batch.studio_id).filter(purpose=batch.number, state=ClaimState.OPEN)
    return dict(open_claims.values_list("lot__title", "mass"))


def test_enlarging_fully_brings_every_line_to_the_proportion_of_the_overpour(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench)
    chosen = choose(bench, batch, "enlarge-fully")
    assert chosen.factor == D("1.1")
    assert targets(batch) == [D("6.6"), D("4.4"), 11]
    assert claimed(batch) == {"linalool": D("6.6"), "vanillin": D("4.4"), "ethanol": 11}
    bench.weigh(batch, 2, "4.4")
    bench.weigh(batch, 3, "11")
    assert bench.close(batch).on_hand == 22
    assert_everything_holds()


def test_enlarging_just_enough_stops_where_every_line_is_within_tolerance(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    """Linalool stays at 6.6 g and may be 2 % too strong: 6.6/T ≤ 0.3 · 1.02, so T ≥ 21.568627 g."""
    batch = overpoured(bench)
    choose(bench, batch, "enlarge-just-enough")
    rest = claimed(batch)
    assert rest["linalool"] == D("6.6")
    assert sum(rest.values()) == pytest.approx(D("21.568627"), abs=D("0.000002"))
    assert rest["vanillin"] / rest["ethanol"] == pytest.approx(D("0.4"), abs=D("0.000001"))


def test_after_enlarging_just_enough_the_overpoured_line_reads_as_poured(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench)
    choose(bench, batch, "enlarge-just-enough")
    [first, *_] = batch_in_hand(studio=bench.by.studio, number=batch.number).lines
    assert (first.state, first.words) == ("done", "within 2 %")
    assert first.line.target == D("6.470589")


def test_keeping_on_pours_the_rest_as_planned(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = overpoured(bench)
    chosen = choose(bench, batch, "keep-going")
    assert targets(batch) == [6, 4, 10]
    assert chosen.leaving_tolerance == ("1", "2", "3")
    assert claimed(batch) == {"linalool": D("6.6"), "vanillin": 4, "ethanol": 10}


def test_the_plan_stays_readable_beside_the_new_targets(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = overpoured(bench)
    choose(bench, batch, "enlarge-fully")
    assert list(batch.lines.order_by("position").values_list("planned", flat=True)) == [6, 4, 10]
    entry = HistoryEntry.objects.get(studio=batch.studio, name=batch.number, verb="way on chosen")
    assert entry.changes["2"] == ["4.000000", "4.400000"]
    assert entry.why.startswith("enlarge-fully")


def test_a_way_that_the_shelf_does_not_allow_is_refused_and_nothing_is_changed(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench)
    draw_off(by=bench.by, now=bench.now, number=lots["ethanol"].number, mass=D("9.5"))
    with pytest.raises(WayNotOpen, match="ethanol") as refusal:
        choose(bench, batch, "enlarge-fully")
    assert refusal.value.extra["way"] == "enlarge-fully"
    assert targets(batch) == [6, 4, 10]
    assert claimed(batch) == {"linalool": D("6.6"), "vanillin": 4, "ethanol": 10}


def test_what_others_have_claimed_is_not_there_for_enlarging(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = overpoured(bench)
    bench.reserve(bench.plan(bench.formula("other", "vanillin 1"), "15.7"))
    with pytest.raises(WayNotOpen, match="vanillin"):
        choose(bench, batch, "enlarge-fully")


def test_a_vessel_too_small_closes_the_way_and_the_best_within_it_stays_open(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench, vessel_capacity=D(21))
    with pytest.raises(WayNotOpen, match="vessel"):
        choose(bench, batch, "enlarge-fully")
    chosen = choose(bench, batch, "best-within-limits")
    assert chosen.mass <= 21
    assert sum(claimed(batch).values()) == chosen.mass
    assert_everything_holds()


def test_a_second_overpour_is_rescued_from_where_the_first_rescue_stands(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench)
    choose(bench, batch, "enlarge-fully")
    bench.weigh(batch, 2, "4.8")
    assert choose(bench, batch, "enlarge-fully").factor == D("1.2")
    assert targets(batch) == [D("7.2"), D("4.8"), 12]


def test_a_material_that_is_gone_is_left_out_and_may_be_left_out_again(
    bench: Workbench, lots: dict[str, Lot]
) -> None:
    batch = overpoured(bench)
    discard(by=bench.by, now=bench.now, number=lots["vanillin"].number, why="broken", despite_claims=True)
    for _ in range(2):
        choose(bench, batch, "best-within-limits")
        assert set(claimed(batch)) == {"linalool", "ethanol"}
        assert_everything_holds()
    bench.weigh(batch, 2, "0.5")
    assert claimed(batch)["vanillin"] == D("0.5")
    assert_everything_holds()


def test_the_ways_are_shown_without_choosing_one(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = overpoured(bench)
    shown = ways_on(studio=bench.by.studio, number=batch.number)
    assert [(one.way, one.allowed) for one in shown] == [
        ("keep-going", True),
        ("enlarge-fully", True),
        ("enlarge-just-enough", True),
        ("best-within-limits", True),
    ]
    assert shown[1].extra_mass == 2
    assert targets(batch) == [6, 4, 10]


def test_a_way_on_is_chosen_only_while_weighing(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = bench.plan(bench.formula("accord", "linalool 3", "vanillin 2"), "5")
    bench.reserve(batch)
    with pytest.raises(WrongState):
        choose(bench, batch, "keep-going")


def test_a_way_chosen_on_what_has_changed_since_is_refused(bench: Workbench, lots: dict[str, Lot]) -> None:
    batch = overpoured(bench)
    batch.refresh_from_db()
    seen = batch.edition
    bench.weigh(batch, 2, "1")
    with pytest.raises(StaleEdition):
        choose(bench, batch, "enlarge-fully", expected=seen)
