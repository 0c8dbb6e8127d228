"""Founding a studio, taking members in, and choosing its figures."""

from decimal import Decimal

import pytest

from studio.actions.people import EmailTaken, OwnersOnly
from studio.actions.studios import (
    AlreadyMember,
    add_member,
    choose_figures,
    found_studio,
)
from studio.kernel.errors import Invalid, StaleEdition
from studio.models import HistoryEntry, Person, Studio
from tests.conftest import NOW, PASSWORD

pytestmark = pytest.mark.django_db
STUDIO = {"name": "Alembic", "owner_name": "Ada", "email": "ada@example.org", "password": PASSWORD, "at": NOW}
MEMBER = {"name": "Ben", "email": "ben@example.org", "password": PASSWORD, "role": "maker", "at": NOW}


def test_a_new_studio_has_its_founder_as_owner():
    owner = found_studio(**STUDIO)
    assert (owner.studio.name, owner.studio.currency, owner.role) == ("Alembic", "EUR", "owner")
    assert owner.person.check_password(PASSWORD)
    assert HistoryEntry.objects.get(studio=owner.studio).verb == "founded"


def test_addresses_are_the_same_whatever_their_case_and_spaces():
    found_studio(**STUDIO)
    with pytest.raises(EmailTaken):
        found_studio(**{**STUDIO, "email": "  Ada@Example.org "})


def test_a_refused_founding_leaves_nothing():
    found_studio(**STUDIO)
    before = (Studio.objects.count(), Person.objects.count())
    with pytest.raises(EmailTaken):
        found_studio(**{**STUDIO, "name": "Second"})
    assert (Studio.objects.count(), Person.objects.count()) == before


def test_every_fault_is_told_at_once():
    with pytest.raises(Invalid) as caught:
        found_studio(name=" ", owner_name="", email="nobody", password="short", at=NOW, currency="eur")
    assert set(caught.value.errors) == {"name", "currency", "owner_name", "email", "password"}


@pytest.mark.parametrize("currency", ["", "EU", "EURO", "ÄÖÜ", "E1R"])
def test_a_currency_is_three_capital_letters(currency):
    with pytest.raises(Invalid):
        found_studio(**STUDIO, currency=currency)


def test_an_owner_takes_a_member_in(owner):
    member = add_member(by=owner, **MEMBER)
    assert (member.studio, member.role, member.joined_at) == (owner.studio, "maker", NOW)


def test_a_member_is_taken_in_once(owner):
    add_member(by=owner, **MEMBER)
    with pytest.raises(AlreadyMember):
        add_member(by=owner, **{**MEMBER, "email": "BEN@example.org"})


def test_the_address_of_somebody_elsewhere_is_taken(owner, stranger):
    with pytest.raises(EmailTaken):
        add_member(by=owner, **{**MEMBER, "email": stranger.person.email})


@pytest.mark.parametrize("role", ["maker", "reader"])
def test_only_owners_take_members_in(owner, new_member, role):
    with pytest.raises(OwnersOnly):
        add_member(by=new_member(owner, role), **MEMBER)


def test_a_role_that_does_not_exist_is_refused(owner):
    with pytest.raises(Invalid) as caught:
        add_member(by=owner, **{**MEMBER, "role": "boss"})
    assert set(caught.value.errors) == {"role"}


def test_figures_are_chosen_with_history_and_edition(owner):
    changes = {"weighing_tolerance": Decimal("0.05"), "claim_days": 14}
    studio = choose_figures(by=owner, at=NOW, changes=changes, expected=1)
    assert (studio.weighing_tolerance, studio.edition) == (Decimal("0.05"), 2)
    entry = HistoryEntry.objects.get(studio=studio, verb="changed")
    assert entry.changes == {"weighing_tolerance": ["0.020000000", "0.05"]}


def test_a_stale_choice_is_refused(owner):
    choose_figures(by=owner, at=NOW, changes={"claim_days": 3}, expected=1)
    with pytest.raises(StaleEdition):
        choose_figures(by=owner, at=NOW, changes={"claim_days": 4}, expected=1)


def test_figures_out_of_bounds_are_all_told(owner):
    changes = {
        "name": "",
        "currency": "x",
        "weighing_tolerance": Decimal(0),
        "strength_tolerance": Decimal("1.1"),
        "claim_days": 0,
    }
    with pytest.raises(Invalid) as caught:
        choose_figures(by=owner, at=NOW, changes=changes, expected=None)
    assert set(caught.value.errors) == set(changes)


def test_only_owners_choose(maker):
    with pytest.raises(OwnersOnly):
        choose_figures(by=maker, at=NOW, changes={"claim_days": 3}, expected=None)
