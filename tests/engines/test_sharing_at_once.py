"""Two requests for the last grams of a lot, granted at the same moment."""

from decimal import Decimal

import pytest

from inventory.actions.asking import ask_keeper, grant_request
from inventory.actions.ledger import Shortage
from inventory.models import Lot, Movement, Wish
from tests.conftest import NOW
from tests.together import raised, together
from tests.workbench import Workbench

pytestmark = pytest.mark.usefixtures("committed")


def test_of_two_grants_of_the_last_grams_one_is_refused_and_nothing_is_oversold(new_studio, new_member):
    owner = new_studio()
    keeper, other = new_member(owner, "maker"), new_member(owner, "maker")
    keeper.studio = other.studio = owner.studio
    lot = Workbench(owner, NOW).bottle("linalool 5g", keeper=keeper)
    wanted = [
        ask_keeper(by=asker, now=NOW, lot=lot, wish=Wish.SOME, mass=Decimal(4)).pk for asker in (owner, other)
    ]
    outcomes = together(
        *(
            lambda request_id=request_id: grant_request(by=keeper, now=NOW, request_id=request_id)
            for request_id in wanted
        )
    )
    [refusal] = raised(outcomes)
    assert isinstance(refusal, Shortage)
    assert Lot.objects.get(pk=lot.pk).on_hand == 1
    assert Movement.objects.filter(source=lot).count() == 1


def test_one_request_granted_twice_at_once_is_handed_over_once(new_studio, new_member):
    owner = new_studio()
    keeper = new_member(owner, "maker")
    keeper.studio = owner.studio
    lot = Workbench(owner, NOW).bottle("linalool 10g", keeper=keeper)
    asked = ask_keeper(by=owner, now=NOW, lot=lot, wish=Wish.SOME, mass=Decimal(2)).pk

    def grant():
        return grant_request(by=keeper, now=NOW, request_id=asked)

    assert len(raised(together(grant, grant, grant))) == 2
    assert Lot.objects.get(pk=lot.pk).on_hand == 8
