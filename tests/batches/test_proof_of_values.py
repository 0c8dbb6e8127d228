"""The proof of what lots are said to be: dried revisions, uncertainties, cost and day, each tampered with and found."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from batches.models import Batch
from inventory.actions.counting import count_lot
from inventory.actions.placing import change_lot
from inventory.models import Lot, LotContent
from studio.actions.studios import found_studio
from tests.batches.kept import kept, undone
from tests.batches.proven import World, findings, set_columns
from tests.conftest import NOW, PASSWORD
from tests.workbench import Workbench


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


def afresh(world: World) -> Workbench:
    """A bench that remembers nothing of what other tests wrote and undid."""
    fresh = Workbench(world.bench.by, world.bench.now)
    fresh.materials = {name: world.bench.materials[name] for name in ("linalool", "ethanol")}
    return fresh


@pytest.fixture
def dried(world: World) -> Lot:
    """The stock, a day later and with a gram of its solvent gone."""
    world.bench.later(days=1)
    count = count_lot(
        by=world.bench.by,
        now=world.bench.now,
        number=world.stock.number,
        gross=Decimal(30),
        tare=Decimal(0),
        loss="evaporated",
    )
    assert count.lot.contents_revision == 1
    assert findings() == {}
    return count.lot


def test_a_dried_revision_that_does_not_follow_from_what_evaporated_is_found(dried: Lot) -> None:
    for name, by in (("linalool", Decimal("0.01")), ("ethanol", Decimal("-0.01"))):
        row = LotContent.objects.get(lot=dried, revision=1, material__name=name)
        set_columns(row, fraction=row.fraction + by)
    assert "has a revision 1 that does not follow from what evaporated" in findings()[f"lot {dried.number}"]


def test_a_factor_of_drying_that_was_changed_is_found(dried: Lot) -> None:
    set_columns(dried, concentration=dried.concentration * 2)
    assert "has a revision 1 that does not follow from what evaporated" in findings()[f"lot {dried.number}"]


def test_a_changed_uncertainty_is_found_in_what_was_made_and_in_what_was_drawn(world: World) -> None:
    for lot in (world.blend, world.vial):
        row = LotContent.objects.get(lot=lot, material__name="linalool")
        set_columns(row, uncertainty=(row.uncertainty or 0) + Decimal("0.001"))
    set_columns(LotContent.objects.get(lot=world.vial, material__name="ethanol"), uncertainty=Decimal("0.5"))
    assert findings() == {
        f"batch {world.closed.number}": ["made a lot whose uncertainties do not follow from its weighings"],
        f"lot {world.vial.number}": ["is known better or worse than the lot it was drawn from"],
    }


def test_a_strength_said_to_be_known_too_well_is_found(world: World) -> None:
    set_columns(world.blend, strength_u=Decimal("0.01"))
    [sentence] = findings()[f"batch {world.closed.number}"]
    assert "whose strength is not known to 0.01" in sentence


def test_an_uncertainty_that_is_not_that_of_the_purity_is_found(world: World) -> None:
    bottle = afresh(world).bottle("citral 5g", purity=Decimal("0.97"))
    assert findings() == {}
    set_columns(LotContent.objects.get(lot=bottle), uncertainty=Decimal("0.001"))
    [sentence] = findings()[f"lot {bottle.number}"]
    assert "not that of its purity" in sentence


def test_a_changed_cost_is_found_at_the_lot_and_at_what_was_made_of_it(world: World) -> None:
    bench = afresh(world)
    bench.bottle("citral 50g", price=Decimal(100))
    version = bench.formula("priced", "citral 1")
    made = bench.make(version, "4")
    assert findings() == {}
    batch = Batch.objects.get(made=made)
    set_columns(made, cost_per_gram=Decimal(3))
    set_columns(batch, actual_cost=Decimal(9))
    assert findings() == {
        f"lot {made.number}": ["costs 3.000000000 a gram, by its weighings 2.000000000000000000000"],
        f"batch {batch.number}": ["cost 9.0000, by its weighings 8.000000"],
    }


def test_what_was_made_before_a_lot_dried_is_proven_by_what_it_cost_then(world: World) -> None:
    bench = afresh(world)
    bottle = bench.bottle("citral@50%/ethanol 50g", price=Decimal(100))
    bench.make(bench.formula("early", "citral@50%/ethanol 1"), "4")
    count_lot(
        by=bench.by,
        now=bench.now,
        number=bottle.number,
        gross=Decimal(40),
        tare=Decimal(0),
        loss="evaporated",
    )
    assert findings() == {}


def test_a_day_that_is_not_that_of_the_record_or_of_who_changed_it_is_found(world: World) -> None:
    bench = world.bench
    set_columns(world.blend, expires_on=date(2031, 5, 1))
    [sentence] = findings()[f"lot {world.blend.number}"]
    assert sentence.startswith("expires on 2031-05-01, its record says")
    world.blend.refresh_from_db()
    change_lot(by=bench.by, now=bench.now, lot=world.blend, changes={"expires_on": date(2029, 1, 1)})
    assert findings() == {}
    set_columns(world.blend, expires_on=date(2030, 1, 1))
    assert findings() == {f"lot {world.blend.number}": ["expires on 2030-01-01, its history says 2029-01-01"]}
