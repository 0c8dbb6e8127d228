"""The proof from scratch: each kind of corruption, made by somebody with full power over the database, is found and named.

Every test writes past the actions, and past the triggers where there are some; all is rolled back.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.weighing import strike_weighing
from batches.jobs import prove_everything
from batches.models import Batch, Weighing
from inventory.actions.drawing_off import draw_off
from inventory.models import Claim, LotContent, Movement, Reason
from studio.actions.studios import found_studio
from studio.jobs import look_after
from studio.kernel.causes import Urgency
from studio.models import Alert, Member, SealedRecord, Studio
from studio.queries.alerts import open_alerts
from tests.batches.kept import kept, undone
from tests.batches.proven import World, findings, set_columns, tampering
from tests.conftest import NOW, PASSWORD
from tests.workbench import Workbench, assert_everything_holds

OTHER_THAN_SEALED = "has other weighings than its sealed record says"


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    def make() -> World:
        owner = found_studio(
            name="Proven", owner_name="Ada", email="proven@example.org", password=PASSWORD, at=NOW
        )
        return World(Workbench(owner, NOW))

    yield from kept(make, django_db_blocker)


@pytest.fixture
def world(made: World, django_db_blocker: Any) -> Iterator[World]:
    with undone(django_db_blocker):
        yield made


def test_a_studio_in_which_all_went_well_is_found_sound(world: World) -> None:
    assert findings() == {}
    assert_everything_holds()


def test_what_the_nightly_proof_finds_is_told_to_its_studio_until_it_is_gone(
    world: World, new_studio: Callable[[], Member]
) -> None:
    studio, other = world.bench.by.studio, new_studio().studio
    prove_everything()
    assert proof_alerts(studio) == []
    was = world.vial.on_hand
    set_columns(world.vial, on_hand=was + 1)
    assert prove_everything() == 2
    [alert] = proof_alerts(studio)
    assert alert.sentence.startswith(
        f"2 things do not hold in what is recorded, the first at lot {world.vial.number}: on hand says 3.000000 g"
    )
    assert (alert.urgency, alert.details["count"]) == (Urgency.NOW, 2)
    assert proof_alerts(other) == []
    look_after(studio.pk)
    assert proof_alerts(studio) == [alert]
    set_columns(world.vial, on_hand=was)
    prove_everything()
    assert proof_alerts(studio) == []


def proof_alerts(studio: Studio) -> list[Alert]:
    return [alert for alert in open_alerts(studio) if alert.kind == "proof"]


# Balances and movements


@pytest.mark.parametrize("by", [Decimal("0.000001"), Decimal(-1)])
def test_a_changed_balance_is_found_with_what_it_should_be(world: World, by: Decimal) -> None:
    set_columns(world.vial, on_hand=world.vial.on_hand + by)
    found = findings()
    [sentence] = found[f"lot {world.vial.number}"]
    assert sentence == f"on hand says {2 + by:.6f} g, its movements add up to 2.000000 g"
    [sum_of_all] = found[f"studio {world.bench.by.studio.name}"]
    assert "entered and did not leave" in sum_of_all


def test_a_changed_movement_is_found_at_both_its_ends(world: World) -> None:
    set_columns(Movement.objects.get(target=world.vial), mass=Decimal("2.5"))
    found = findings()
    assert set(found) == {f"lot {world.blend.number}", f"lot {world.vial.number}"}
    assert "was made with 2.000000 g, but 2.500000 g went into it" in found[f"lot {world.vial.number}"]


def test_a_movement_that_was_deleted_is_found(world: World) -> None:
    movement = Movement.objects.get(target=world.ethanol, reason=Reason.RECEIVED)
    with tampering(Movement):
        Movement.objects.filter(pk=movement.pk).delete()
    found = findings()
    assert any("its movements add up to" in sentence for sentence in found[f"lot {world.ethanol.number}"])
    assert f"studio {world.bench.by.studio.name}" in found


def test_a_movement_turned_to_another_lot_is_found(world: World) -> None:
    set_columns(Movement.objects.get(target=world.vial), source=world.ethanol)
    found = findings()
    for lot in (world.blend, world.ethanol):
        assert any("its movements add up to" in sentence for sentence in found[f"lot {lot.number}"])


def test_a_movement_between_studios_is_found(world: World, new_studio: Callable[[], Member]) -> None:
    other = Workbench(new_studio(), world.bench.now).bottle("linalool 50g")
    movement = Movement.objects.get(target=other)
    set_columns(movement, studio=world.bench.by.studio_id)
    found = findings()
    assert found[f"movement {movement.id}"] == ["touches a lot of another studio"]


def test_a_reversal_that_does_not_fit_what_it_reverses_is_found(world: World) -> None:
    set_columns(world.back, reverses=Movement.objects.get(target=world.vial))
    [sentence] = findings()[f"movement {world.back.id}"]
    assert "does not take back" in sentence


def test_a_lot_said_to_be_empty_that_is_not_is_found(world: World) -> None:
    set_columns(world.vial, emptied_at=world.bench.now)
    assert findings() == {
        f"lot {world.vial.number}": ["holds 2.000000 g but its emptying time says otherwise"]
    }


def test_a_changed_made_mass_is_found(world: World) -> None:
    set_columns(world.blend, made_mass=Decimal(11))
    assert findings() == {
        f"lot {world.blend.number}": ["was made with 11.000000 g, but 10.000000 g went into it"]
    }


# Claims


def test_a_changed_reservation_is_found(world: World) -> None:
    set_columns(world.ethanol, reserved=Decimal(7))
    assert findings() == {
        f"lot {world.ethanol.number}": ["reserved says 7.000000 g, its open claims add up to 2.000000 g"]
    }


def test_a_claim_that_was_made_smaller_is_found(world: World) -> None:
    claim = Claim.objects.get(purpose=world.waiting.number, lot=world.ethanol)
    set_columns(claim, mass=Decimal("0.5"), asked=Decimal("0.5"))
    assert set(findings()) == {f"lot {world.ethanol.number}"}


def test_a_claim_of_a_batch_that_does_not_exist_is_found(world: World) -> None:
    claims = Claim.objects.of(world.bench.by.studio).filter(purpose=world.waiting.number)
    claims.update(purpose="B26-9999-0")
    found = findings()
    assert found["claim for B26-9999-0"] == ["names a batch that does not exist"]
    assert found[f"batch {world.waiting.number}"] == ["is reserved and holds 0 open claims"]


def test_claims_that_a_batch_in_its_state_cannot_hold_are_found(world: World) -> None:
    set_columns(world.waiting, state="draft")
    assert findings() == {f"batch {world.waiting.number}": ["is draft and holds 2 open claims"]}


# Weighings


def test_a_changed_weighing_of_a_closed_batch_is_found(world: World) -> None:
    set_columns(Weighing.objects.filter(batch=world.closed)[0], mass=Decimal("5.5"))
    assert findings() == {
        f"batch {world.closed.number}": ["has 10.500000 g weighed and 10.000000 g moved", OTHER_THAN_SEALED]
    }


def test_a_weighing_struck_after_closing_is_found(world: World) -> None:
    weighing = Weighing.objects.filter(batch=world.closed)[0]
    struck = {"struck_at": world.bench.now, "struck_by": world.bench.by, "strike_reason": "never was"}
    set_columns(weighing, **struck)
    assert findings() == {
        f"batch {world.closed.number}": ["has 5.000000 g weighed and 10.000000 g moved", OTHER_THAN_SEALED]
    }


def test_another_reason_for_striking_an_entry_than_was_sealed_is_found(world: World) -> None:
    bench = world.bench
    batch = bench.plan(world.closed.version, "1")
    bench.reserve(batch)
    slip = bench.weigh(batch, 1, "0.1")
    strike_weighing(by=bench.by, now=bench.now, number=batch.number, weighing_id=slip.id, why="a slip")
    bench.weigh_all(batch)
    bench.close(batch)
    assert findings() == {}
    set_columns(slip, strike_reason="it suited me")
    assert findings() == {f"batch {batch.number}": [OTHER_THAN_SEALED]}


def test_a_batch_said_to_be_void_whose_weighings_went_nowhere_is_found(world: World) -> None:
    set_columns(world.begun, state="void")
    assert findings()[f"batch {world.begun.number}"] == [
        "is void and holds 2 open claims",
        "has 1.500000 g weighed and 0.000000 g moved",
    ]


# Contents


def test_contents_that_no_longer_add_up_are_found(world: World) -> None:
    content = LotContent.objects.get(lot=world.vial, material__name="linalool")
    set_columns(content, fraction=Decimal("0.06"))
    assert findings() == {
        f"lot {world.vial.number}": [
            "revision 0 has contents that sum to 1.01, not 1",
            "contains something else than the lot it was drawn from",
        ]
    }


def test_a_changed_strength_is_found(world: World) -> None:
    set_columns(world.stock, actual_strength=Decimal("0.11"))
    assert findings() == {f"lot {world.stock.number}": ["says its strength is 0.11, its contents say 0.1"]}


def test_a_vial_said_to_hold_something_else_than_it_was_drawn_from_is_found(world: World) -> None:
    for name, fraction in (("linalool", "0.06"), ("ethanol", "0.94")):
        set_columns(LotContent.objects.get(lot=world.vial, material__name=name), fraction=Decimal(fraction))
    set_columns(world.vial, actual_strength=Decimal("0.06"))
    assert findings() == {
        f"lot {world.vial.number}": ["contains something else than the lot it was drawn from"]
    }


def test_contents_of_an_ancestor_that_no_longer_add_up_are_found_there_and_in_what_was_made_of_it(
    world: World,
) -> None:
    content = LotContent.objects.get(lot=world.linalool)
    set_columns(content, fraction=Decimal("0.9"))
    found = findings()
    assert found[f"lot {world.linalool.number}"] == ["revision 0 has contents that sum to 0.9, not 1"]
    made_of_it = Batch.objects.get(made=world.stock)
    assert f"batch {made_of_it.number}" in found


def test_contents_that_are_gone_are_found(world: World) -> None:
    with tampering(LotContent):
        LotContent.objects.filter(lot=world.linalool).delete()
    found = findings()
    assert found[f"lot {world.linalool.number}"] == ["revision 0 has no contents"]
    assert f"batch {Batch.objects.get(made=world.stock).number}" in found


def test_contents_exchanged_so_that_they_still_add_up_are_found_by_mixing_them_again(world: World) -> None:
    for name, fraction in (("linalool", "0.06"), ("ethanol", "0.94")):
        set_columns(LotContent.objects.get(lot=world.blend, material__name=name), fraction=Decimal(fraction))
    assert findings() == {
        f"batch {world.closed.number}": ["made a lot whose contents do not follow from its weighings"],
        f"lot {world.blend.number}": ["says its strength is 0.05, its contents say 0.06"],
        f"lot {world.vial.number}": ["contains something else than the lot it was drawn from"],
    }


def test_a_made_lot_whose_pours_are_gone_is_found(world: World) -> None:
    with tampering(Movement):
        Movement.objects.filter(target=world.blend).delete()
    assert (
        "made a lot whose contents do not follow from its weighings"
        in findings()[f"batch {world.closed.number}"]
    )


# Records


def test_a_changed_record_is_found_at_its_place(world: World) -> None:
    record = SealedRecord.objects.get(studio=world.bench.by.studio, name=world.closed.number)
    set_columns(record, text=record.text.replace(world.blend.number, world.vial.number))
    name = world.bench.by.studio.name
    assert findings() == {
        f"record {record.sequence} of studio {name}": [
            f"The text of record {record.sequence} is not the one that was sealed."
        ]
    }


def test_a_record_taken_out_of_the_chain_is_found(world: World) -> None:
    bench = world.bench
    bench.make(bench.formula("last", "ethanol 1", "linalool@10% 1"), "1")
    record = SealedRecord.objects.get(studio=world.bench.by.studio, name=world.closed.number)
    with tampering(SealedRecord):
        SealedRecord.objects.filter(pk=record.pk).delete()
    found = findings()
    assert found[f"record {record.sequence} of studio {bench.by.studio.name}"] == [
        f"Record {record.sequence} is missing."
    ]


def test_the_last_record_cut_off_is_missed_by_its_batch(world: World) -> None:
    """The chain that is left holds in itself."""
    with tampering(SealedRecord):
        SealedRecord.objects.filter(studio=world.bench.by.studio, name=world.closed.number).delete()
    assert findings() == {f"batch {world.closed.number}": ["is closed and has no sealed record"]}


# The command


def test_the_command_says_what_it_looked_at_when_all_is_well(world: World) -> None:
    said = StringIO()
    call_command("verify", stdout=said)
    assert "Everything holds" in said.getvalue()


def test_the_command_names_what_does_not_hold_and_fails(world: World) -> None:
    set_columns(world.vial, on_hand=Decimal(3))
    said = StringIO()
    with pytest.raises(SystemExit) as end:
        call_command("verify", stdout=said)
    assert end.value.code == 1
    assert f"lot {world.vial.number}: on hand says 3.000000 g" in said.getvalue()
    assert "2 things do not hold" in said.getvalue()


def test_the_statements_of_the_proof_do_not_grow_with_the_lots(world: World) -> None:
    counts = set()
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            findings()
        counts.add(len(queries))
        world.bench.make(world.closed.version, "1")
        draw_off(by=world.bench.by, now=world.bench.now, number=world.stock.number, mass=Decimal(1))
    assert len(counts) == 1
