"""Grids: one batch whose pours go into many vials, each of which holds what was weighed into it and nothing else."""

import json
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from batches.actions.closing import Filled, LinesNotWeighed, NothingWeighed, close_batch
from batches.actions.grid_cells import LastVial, NotAGrid, leave_out_vial, make_vial_anew
from batches.actions.grids import NotPlainSolvent, draft_grid
from batches.actions.rescuing import choose_way_on
from batches.actions.reserving import void_batch
from batches.actions.weigh_plans import CrossesGivenLots, plan_again
from batches.actions.weighing import VialLeftOut
from batches.calc.grid import Ratio
from batches.models import Batch, BatchState, GridCell
from batches.papers.printing import Copy
from batches.papers.ticket import ticket_html
from batches.queries.grids import grid_sheet, vial_lots
from batches.queries.proof import all_findings
from batches.queries.tickets import ticket_of
from inventory.actions.ledger import Shortage
from inventory.models import Claim, ClaimState, Lot, LotContent, LotKind, Movement, Reason
from inventory.queries.trace import trace_lot
from studio.kernel.mass import ZERO_MASS
from studio.models import SealedRecord
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench, assert_everything_holds

EVEN = Ratio(Decimal(1), Decimal(1))
COPY = Copy(number=1, by="Ada", at=datetime(2026, 3, 2, tzinfo=UTC))


@pytest.fixture
def stocks(bench: Workbench) -> dict[str, Lot]:
    """A shelf of dilutions; the bottles cost something, so that vials do."""
    bench.balance(readability="0.0001")
    for name, mass in (("linalool", 20), ("vanillin", 20), ("geraniol", 20), ("ethanol", 500)):
        bench.bottle(f"{name} {mass}g", price=Decimal(mass))
    return {
        "linalool": bench.stock("linalool@1% 20g"),
        "vanillin": bench.stock("vanillin@10% 20g"),
        "geraniol": bench.stock("geraniol@10% 20g"),
        "ethanol": Lot.objects.of(bench.by.studio).get(title="ethanol"),
    }


def crossed(bench: Workbench, stocks: dict[str, Lot], a: str, b: str, **wanted: Any) -> Batch:
    """The named stocks crossed 1:1 in vials of 2 g."""
    return draft_grid(
        by=bench.by,
        now=bench.now,
        side_a=[stocks[name] for name in a.split()],
        side_b=[stocks[name] for name in b.split()],
        **{"ratios": [EVEN], "vial_mass": Decimal(2), **wanted},
    )


def closed(bench: Workbench, batch: Batch, **filled: Any) -> list[Lot]:
    close_batch(by=bench.by, now=bench.now, number=batch.number, filled=Filled(**filled))
    return list(vial_lots(bench.by.studio, batch.number))


def share(lot: Lot, material: str) -> LotContent:
    return LotContent.objects.get(lot=lot, material__name=material)


def claimed(batch: Batch, lot: Lot) -> Decimal:
    held = Claim.objects.filter(purpose=batch.number, lot=lot, state=ClaimState.OPEN).first()
    return held.mass if held else ZERO_MASS


def test_a_percent_and_a_tenth_at_one_to_one_give_half_a_percent_and_five_by_their_weighings(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin")
    bench.reserve(batch)
    bench.weigh_all(batch)
    [vial] = closed(bench, batch)
    assert vial.kind == LotKind.VIAL
    assert share(vial, "linalool").fraction == Decimal("0.005")
    assert share(vial, "vanillin").fraction == Decimal("0.05")
    # A pour on this balance: u² = s² + 2(d/√12)² + 2(l/√3)² with s = d = 0.0001 g and l = 0.0002 g (EURACHEM/CITAC QUAM,
    # weighing by difference), 0.000196 g to the microgram. By first order u(f) takes (x − f)/M · u of each pour: of the
    # two into the vial of 2 g, and, halved by the vial, of the two that made 20 g of the tenth.
    u = Decimal("0.000196")
    pours = [Decimal("0.05") / 2, Decimal("0.05") / 2, Decimal("0.9") / 20 / 2, Decimal("0.1") / 20 / 2]
    by_hand = sum((part * part for part in pours), Decimal(0)).sqrt() * u
    assert share(vial, "vanillin").uncertainty == pytest.approx(by_hand, rel=Decimal("1e-6"))
    assert vial.cost_per_gram is not None
    assert_everything_holds()


def test_each_vial_holds_what_was_weighed_into_it_and_stocks_are_taken_in_hand_once(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool geraniol", "vanillin")
    lines = list(batch.lines.select_related("cell").order_by("position"))
    assert [(one.lot_id, one.cell and one.cell.number) for one in lines] == [
        (stocks["linalool"].id, 1), (stocks["geraniol"].id, 2), (stocks["vanillin"].id, 1), (stocks["vanillin"].id, 2),
    ]  # fmt: skip
    bench.reserve(batch)
    assert claimed(batch, stocks["vanillin"]) == Decimal(2)
    for position, mass in enumerate(("1.0", "1.0", "1.0", "3.0"), start=1):
        bench.weigh(batch, position, mass)
    first, second = closed(bench, batch)
    assert (first.on_hand, second.on_hand) == (Decimal(2), Decimal(4))
    assert share(second, "vanillin").fraction == Decimal("0.075")
    assert share(second, "geraniol").fraction == Decimal("0.025")
    assert not LotContent.objects.filter(lot=second, material__name="linalool").exists()
    behind = {one.lot.title for one in trace_lot(lot=second, direction="back").lots}
    assert "linalool" not in behind
    assert "geraniol" in behind
    assert Batch.objects.get(pk=batch.pk).state == BatchState.CLOSED
    assert_everything_holds()


def test_controls_hold_one_lot_let_down_to_the_strength_it_has_in_the_grid(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin", solvent=stocks["ethanol"])
    bench.reserve(batch)
    bench.weigh_all(batch)
    crossing, alone_a, alone_b = closed(bench, batch)
    for vial, material in ((alone_a, "linalool"), (alone_b, "vanillin")):
        assert share(vial, material).fraction == share(crossing, material).fraction
        assert vial.title.endswith("alone")
    assert not LotContent.objects.filter(lot=alone_a, material__name="vanillin").exists()
    with pytest.raises(NotPlainSolvent):
        crossed(bench, stocks, "linalool", "vanillin", solvent=stocks["geraniol"])
    assert_everything_holds()


def test_a_vial_left_out_frees_its_claims_and_what_went_into_it_is_discarded(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin geraniol")
    bench.reserve(batch)
    bench.weigh(batch, 1, "1.0")
    leave_out_vial(by=bench.by, now=bench.now, number=batch.number, vial=1, why="smells of plastic")
    assert claimed(batch, stocks["vanillin"]) == ZERO_MASS
    assert claimed(batch, stocks["linalool"]) == Decimal(2)
    with pytest.raises(VialLeftOut):
        bench.weigh(batch, 3, "1.0")
    with pytest.raises(LastVial):
        leave_out_vial(by=bench.by, now=bench.now, number=batch.number, vial=2, why="too")
    bench.weigh(batch, 2, "1.0")
    bench.weigh(batch, 4, "1.0")
    [vial] = closed(bench, batch)
    assert vial.title.startswith("Vial 2")
    [thrown] = Movement.objects.filter(batch=batch.number, reason=Reason.DISCARDED)
    assert (thrown.source, thrown.mass) == (stocks["linalool"], Decimal(1))
    assert "smells of plastic" in thrown.why
    assert_everything_holds()


def test_a_vial_made_anew_is_claimed_once_more_or_nothing_is_changed(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin", vial_mass=Decimal(14))
    bench.reserve(batch)
    bench.weigh(batch, 1, "7.0")
    bench.weigh(batch, 2, "9.0")
    make_vial_anew(by=bench.by, now=bench.now, number=batch.number, vial=1, why="too much vanillin")
    assert claimed(batch, stocks["vanillin"]) == Decimal(16)
    bench.weigh(batch, 3, "7.0")
    bench.weigh(batch, 4, "7.0")
    with pytest.raises(Shortage):
        make_vial_anew(by=bench.by, now=bench.now, number=batch.number, vial=1, why="once more")
    assert GridCell.objects.filter(batch=batch).count() == 2
    [vial] = closed(bench, batch)
    assert (vial.title.split(":")[0], vial.made_mass) == ("Vial 1, attempt 2", Decimal(14))
    record = json.loads(SealedRecord.objects.get(studio=bench.by.studio, name=batch.number).text)["record"]
    first, second = record["vials"]
    assert (first["left_out_because"], first["made"]) == ("too much vanillin", None)
    assert second["made"]["lot"] == vial.number
    assert [line["attempt"] for line in record["lines"]] == [1, 1, 2, 2]
    stocks["vanillin"].refresh_from_db()
    assert stocks["vanillin"].on_hand == Decimal(4)
    assert_everything_holds()


def test_what_is_not_weighed_needs_a_reason_and_vials_without_any_are_left_out_with_it(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin geraniol")
    bench.reserve(batch)
    with pytest.raises(NothingWeighed):
        closed(bench, batch)
    bench.weigh(batch, 1, "1.0")
    bench.weigh(batch, 3, "1.0")
    with pytest.raises(LinesNotWeighed, match="vial 2"):
        closed(bench, batch)
    assert len(closed(bench, batch, left_out_reason="ran out of vials")) == 1
    assert GridCell.objects.get(batch=batch, number=2).left_out_why == "ran out of vials"
    assert_everything_holds()


def test_an_overpour_is_rescued_within_its_vial(bench: Workbench, stocks: dict[str, Lot]) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin geraniol")
    bench.reserve(batch)
    bench.weigh(batch, 1, "1.5")
    choose_way_on(by=bench.by, now=bench.now, number=batch.number, way="enlarge-fully")
    targets = dict(batch.lines.values_list("position", "target"))
    assert targets == {1: Decimal("1.5"), 2: Decimal(1), 3: Decimal("1.5"), 4: Decimal(1)}
    assert claimed(batch, stocks["vanillin"]) == Decimal("1.5")
    assert claimed(batch, stocks["linalool"]) == Decimal("2.5")
    assert_everything_holds()


def test_a_grid_given_up_discards_what_was_poured_and_no_other_batch_has_vials(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin")
    with pytest.raises(CrossesGivenLots):
        plan_again(by=bench.by, now=bench.now, number=batch.number)
    bench.reserve(batch)
    bench.weigh(batch, 1, "1.0")
    void_batch(by=bench.by, now=bench.now, number=batch.number, why="changed my mind")
    other = bench.plan(bench.formula("plain", "linalool@1% 1"), "1")
    bench.reserve(other)
    with pytest.raises(NotAGrid):
        leave_out_vial(by=bench.by, now=bench.now, number=other.number, vial=1, why="why not")
    assert_everything_holds()


def test_a_grid_short_of_a_stock_is_drafted_and_cannot_be_reserved(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin", vial_mass=Decimal(50))
    with pytest.raises(Shortage):
        bench.reserve(batch)
    assert not Claim.objects.filter(purpose=batch.number).exists()


def test_a_sheet_tells_planned_and_actual_strength_of_each_side(
    bench: Workbench, stocks: dict[str, Lot], django_assert_max_num_queries: Any
) -> None:
    batch = crossed(bench, stocks, "linalool geraniol", "vanillin")
    bench.reserve(batch)
    bench.weigh_all(batch)
    closed(bench, batch)
    with django_assert_max_num_queries(9):
        sheet = grid_sheet(studio=bench.by.studio, number=batch.number)
    first = sheet.vials[0]
    assert first.side_a is not None
    assert (first.side_a.planned, first.side_a.actual) == (Decimal("0.005"), Decimal("0.005"))
    assert first.side_a.uncertainty
    assert [(row.side, row.vials) for row in sheet.stocks] == [("A", (1,)), ("A", (2,)), ("B", (1, 2))]


def test_ticket_and_record_say_which_vial_each_pour_goes_into_and_what_it_became(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool", "vanillin")
    before = ticket_html(ticket_of(studio=bench.by.studio, number=batch.number), COPY)
    assert "into vial 1" in before
    bench.reserve(batch)
    bench.weigh(batch, 1, "1.0")
    make_vial_anew(by=bench.by, now=bench.now, number=batch.number, vial=1, why="dropped it")
    bench.weigh(batch, 3, "1.0")
    bench.weigh(batch, 4, "1.0")
    [vial] = closed(bench, batch)
    ticket = ticket_of(studio=bench.by.studio, number=batch.number)
    assert [(one.left_out_because, one.lot) for one in ticket.vials] == [
        ("dropped it", ""),
        ("", vial.number),
    ]
    assert "left out because: dropped it" in ticket_html(ticket, COPY)


def test_the_proof_sees_a_vial_that_got_what_was_weighed_for_another(
    bench: Workbench, stocks: dict[str, Lot]
) -> None:
    batch = crossed(bench, stocks, "linalool geraniol", "vanillin")
    bench.reserve(batch)
    bench.weigh_all(batch)
    first, second = closed(bench, batch)
    into_first = Movement.objects.filter(target=first, source=stocks["vanillin"])
    into_second = Movement.objects.filter(target=second, source=stocks["vanillin"])
    with without_triggers("inventory_movement"):
        into_first.update(mass=Decimal("0.9"))
        into_second.update(mass=Decimal("1.1"))
    found = " ".join(f"{one.where} {one.what}" for one in all_findings())
    assert f"vial 1 of batch {batch.number}" in found
    assert f"vial 2 of batch {batch.number}" in found
