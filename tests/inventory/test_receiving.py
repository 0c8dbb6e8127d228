"""Receiving bottles: the one way by which mass comes into the studio from outside."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.formulas import adopt_as_base
from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import Lot, LotContent, LotKind, Movement, Reason
from studio.kernel.errors import Invalid
from studio.kernel.numbers import parse
from studio.models import HistoryEntry
from tests.workbench import Workbench, assert_everything_holds


def contents(lot: Lot) -> dict[str, Decimal]:
    return dict(LotContent.objects.filter(lot=lot).values_list("material__name", "fraction"))


def test_a_received_bottle_is_on_hand_by_one_movement_into_the_studio(bench: Workbench) -> None:
    lot = bench.bottle("linalool 100g")
    [movement] = Movement.objects.filter(target=lot)
    assert (movement.reason, movement.mass, movement.source) == (Reason.RECEIVED, 100, None)
    assert (lot.kind, lot.on_hand, lot.made_mass, lot.reserved) == (LotKind.BOTTLE, 100, 100, 0)
    assert_everything_holds()


def test_a_neat_bottle_contains_its_material_alone(bench: Workbench) -> None:
    assert contents(bench.bottle("linalool 100g")) == {"linalool": Decimal(1)}


def test_a_bottle_bought_in_dilution_contains_its_solvent_too(bench: Workbench) -> None:
    lot = bench.bottle("indole@10%/dipropylene glycol 30g")
    assert contents(lot) == {"indole": Decimal("0.1"), "dipropylene glycol": Decimal("0.9")}
    assert lot.declared_strength == lot.actual_strength == Decimal("0.1")


def test_a_declared_purity_is_read_as_a_rectangular_distribution(bench: Workbench) -> None:
    """EURACHEM/CITAC QUAM, example A1: a purity of 0.9999 ± 0.0001 has u = 0.000058."""
    lot = bench.bottle("linalool 100g", purity=Decimal("0.9999"))
    assert lot.strength_u == Decimal("0.000057735")
    assert round(lot.strength_u, 6) == Decimal("0.000058")


def test_the_purity_of_a_dilution_counts_for_its_material_only(bench: Workbench) -> None:
    lot = bench.bottle("linalool@10% 100g", purity=Decimal("0.97"))
    # (1 − 0.97)/√3 = 0.017320508 of a tenth
    assert lot.strength_u == Decimal("0.001732051")


def test_what_was_paid_is_kept_per_gram(bench: Workbench) -> None:
    assert bench.bottle("linalool 5g", price=Decimal("12.50")).cost_per_gram == Decimal("2.5")
    assert bench.bottle("linalool 5g").cost_per_gram is None


def test_a_price_per_gram_that_no_column_holds_is_refused_as_a_slip(bench: Workbench) -> None:
    with pytest.raises(Invalid) as refusal:
        bench.bottle("linalool 0.000001g", price=Decimal(100))
    assert set(refusal.value.errors) == {"price"}


def test_a_bottle_expires_by_the_shelf_life_of_its_material(bench: Workbench) -> None:
    bench.material("linalool", shelf_life_days=365)
    assert bench.bottle("linalool 5g").expires_on == bench.now.date() + timedelta(days=365)


def test_the_day_on_the_bottle_goes_before_the_shelf_life(bench: Workbench) -> None:
    bench.material("linalool", shelf_life_days=365)
    assert bench.bottle("linalool 5g", expires_on=date(2026, 5, 1)).expires_on == date(2026, 5, 1)


def test_a_bottle_received_in_the_past_was_received_then_and_recorded_now(bench: Workbench) -> None:
    then = bench.now - timedelta(days=40)
    lot = bench.bottle("linalool 5g", received_at=then)
    [movement] = Movement.objects.filter(target=lot)
    assert (lot.made_at, movement.at) == (then, then)
    assert (lot.recorded_at, movement.recorded_at) == (bench.now, bench.now)


def test_nothing_is_received_in_the_future(bench: Workbench) -> None:
    with pytest.raises(Invalid, match="future") as refusal:
        bench.bottle("linalool 5g", received_at=bench.now + timedelta(hours=1))
    assert set(refusal.value.errors) == {"received_at"}


def test_lot_numbers_run_on_without_a_gap_and_carry_their_check_character(bench: Workbench) -> None:
    numbers = [bench.bottle("linalool 5g").number for _ in range(3)]
    assert [number[:7] for number in numbers] == ["26-0001", "26-0002", "26-0003"]
    assert [parse("lot", number) for number in numbers] == numbers


def test_every_fault_of_every_bottle_is_told_at_once_and_none_is_received(bench: Workbench) -> None:
    linalool, ethanol = bench.material("linalool"), bench.material("ethanol")
    bottles = [
        Bottle(material=linalool, mass=Decimal(1)),
        Bottle(material=linalool, mass=Decimal(1), strength=Decimal("0.1")),
        Bottle(material=linalool, mass=Decimal(1), solvent=ethanol),
        Bottle(material=ethanol, mass=Decimal(1), strength=Decimal("0.1"), solvent=ethanol),
        Bottle(material=ethanol, mass=Decimal(1), strength=Decimal("0.1"), solvent=linalool),
    ]
    places = [f"{line}." for line in range(1, 6)]
    with pytest.raises(Invalid) as refusal:
        receive_bottles(by=bench.by, now=bench.now, bottles=bottles, places=places)
    assert set(refusal.value.errors) == {"2.solvent", "3.solvent", "4.solvent", "5.solvent"}
    assert not Lot.objects.of(bench.by.studio).exists()


def test_what_is_received_and_written_down_stands_in_the_history_of_each_in_one_statement(
    bench: Workbench,
) -> None:
    counts = []
    for names in (["linalool", "citral"], ["indole", "vanillin", "orris", "myrrh", "benzoin"]):
        with CaptureQueriesContext(connection) as queries:
            materials = add_materials(
                by=bench.by, now=bench.now, cards=[MaterialCard(name=name) for name in names]
            )
            lots = receive_bottles(
                by=bench.by,
                now=bench.now,
                bottles=[Bottle(material=material, mass=Decimal(5)) for material in materials],
            )
        counts.append(len(queries))
        entries = HistoryEntry.objects.of(bench.by.studio).filter(by=bench.by)
        added = entries.filter(subject="material", verb="added", name__in=names)
        received = entries.filter(subject="lot", verb="received", name__in=[lot.number for lot in lots])
        assert [entry.changes for entry in added] == [{"kind": [None, "odorant"]}] * len(names)
        assert [entry.changes for entry in received] == [{"mass": [None, "5"]}] * len(names)
    assert counts[0] == counts[1]


def test_a_base_of_the_studio_is_made_and_never_received(bench: Workbench) -> None:
    base = adopt_as_base(by=bench.by, now=bench.now, version=bench.formula("rose", "geraniol 1"))
    with pytest.raises(Invalid) as refusal:
        receive_bottles(by=bench.by, now=bench.now, bottles=[Bottle(material=base, mass=Decimal(1))])
    assert set(refusal.value.errors) == {"material"}
