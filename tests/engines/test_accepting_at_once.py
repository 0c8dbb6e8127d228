"""A remake plan accepted by two people at the same moment, and once by one whose browser sent it twice."""

from datetime import timedelta
from decimal import Decimal

import pytest

from batches.actions.remakes import PlanIsOutdated, WantedRow, accept_rows
from batches.models import Batch, RemakeAcceptance
from batches.models.remake_requests import Outlook
from batches.queries.remakes import remakes_of
from inventory.actions.pars import WantedPar, set_pars
from inventory.models import Lot
from tests.conftest import NOW
from tests.together import raised, together
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.usefixtures("committed")


@pytest.fixture
def accepting(new_studio, new_member):
    """A studio in which one stock is to be made again; a work for each name that accepts the plan under it."""
    owner = new_studio()
    other = new_member(owner, "maker")
    other.studio = owner.studio
    bench = Workbench(owner, NOW)
    bench.bottle("linalool 30g")
    bench.bottle("ethanol 500g")
    material, strength, solvent, _ = bench._read("linalool@10%/ethanol 1g")
    par = WantedPar(material=material, strength=strength, solvent=solvent, low=Decimal(20), full=Decimal(50))
    set_pars(by=owner, now=NOW, pars=[par])
    outlook = Outlook(until=NOW.date() + timedelta(days=14))
    found = remakes_of(studio=owner.studio, today=NOW.date(), outlook=outlook)
    rows = [WantedRow(key) for key in found.plan.rows]

    def works(*operations):
        hands = (owner, other)
        return owner.studio, [
            lambda operation=operation, by=hands[place % 2]: accept_rows(
                by=by, now=NOW, operation=operation, digest=found.digest, outlook=outlook, rows=rows
            )
            for place, operation in enumerate(operations)
        ]

    return works


def test_of_two_who_accept_the_same_plan_at_once_one_is_told_what_changed(accepting):
    studio, works = accepting("mine", "theirs", "theirs too")
    refused = raised(together(*works))
    assert [type(one) for one in refused] == [PlanIsOutdated] * 2
    assert RemakeAcceptance.objects.of(studio).count() == 1
    assert Batch.objects.of(studio).count() == 1
    assert sum(lot.reserved for lot in Lot.objects.of(studio)) == 50
    assert_everything_holds()


def test_an_acceptance_that_is_sent_twice_at_once_happens_once(accepting):
    studio, works = accepting("once", "once", "once")
    outcomes = together(*works)
    assert raised(outcomes) == []
    assert len({one.pk for one in outcomes}) == 1
    assert Batch.objects.of(studio).count() == 1
