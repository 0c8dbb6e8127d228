"""Coming into a studio by invitation, and what an owner decides about members."""

from datetime import timedelta

import pytest

from studio.actions.inviting import (
    GOOD_FOR,
    NoSuchInvitation,
    accept_as_newcomer,
    accept_invitation,
    invitation_behind,
    invite,
    withdraw_invitation,
)
from studio.actions.keys import issue_key
from studio.actions.leaving import LastOwner, leave_studio
from studio.actions.members import NotOneself, change_role, hand_over_studio, remove_member
from studio.actions.people import EmailTaken, OwnersOnly
from studio.actions.studios import AlreadyMember
from studio.kernel.errors import Invalid
from studio.models import Invitation, Member
from studio.models.scoped import NoSuchThing
from tests.conftest import NOW, PASSWORD

pytestmark = pytest.mark.django_db
NEWCOMER = {"name": "Noor", "email": "noor@example.org", "password": PASSWORD}


def invited(owner, email="noor@example.org", role="maker"):
    return invite(by=owner, at=NOW, email=email, role=role)


def test_a_newcomer_comes_in_once_by_the_link(owner):
    invitation, secret = invited(owner, role="reader")
    member = accept_as_newcomer(at=NOW, secret=secret, **NEWCOMER)
    assert (member.studio, member.role, member.person.name) == (owner.studio, "reader", "Noor")
    invitation.refresh_from_db()
    assert invitation.accepted_by == member
    with pytest.raises(NoSuchInvitation):
        accept_as_newcomer(at=NOW, secret=secret, **{**NEWCOMER, "email": "other@example.org"})


def test_somebody_who_signs_in_already_comes_in_as_they_are(owner, stranger):
    _, secret = invited(owner, stranger.person.email)
    member = accept_invitation(person=stranger.person, at=NOW, secret=secret)
    assert (member.studio, member.person) == (owner.studio, stranger.person)
    assert stranger.person.memberships.count() == 2


def test_the_link_is_kept_only_as_a_digest(owner):
    invitation, secret = invited(owner)
    assert secret not in str(Invitation.objects.filter(pk=invitation.pk).values())


def test_a_link_ends_by_time_by_withdrawal_and_by_another_invitation(owner):
    _, first = invited(owner)
    second_invitation, second = invited(owner)
    with pytest.raises(NoSuchInvitation):
        invitation_behind(first, NOW)
    assert invitation_behind(second, NOW + GOOD_FOR - timedelta(seconds=1)) == second_invitation
    with pytest.raises(NoSuchInvitation):
        invitation_behind(second, NOW + GOOD_FOR)
    withdraw_invitation(by=owner, at=NOW, invitation_id=second_invitation.pk)
    for secret in (second, "still_nonsense", ""):
        with pytest.raises(NoSuchInvitation):
            invitation_behind(secret, NOW)


def test_a_refused_newcomer_uses_up_no_invitation(owner, maker):
    _, secret = invited(owner)
    with pytest.raises(Invalid) as refusal:
        accept_as_newcomer(at=NOW, secret=secret, name="", email="nowhere", password="short")
    assert refusal.value.errors.keys() == {"name", "email", "password"}
    with pytest.raises(EmailTaken):
        accept_as_newcomer(at=NOW, secret=secret, **{**NEWCOMER, "email": maker.person.email})
    accept_as_newcomer(at=NOW, secret=secret, **NEWCOMER)


def test_who_left_comes_back_with_the_role_they_are_invited_to(owner, maker):
    leave_studio(by=maker, at=NOW)
    _, secret = invited(owner, maker.person.email, "reader")
    back = accept_invitation(person=maker.person, at=NOW, secret=secret)
    assert (back.pk, back.role, back.left_at) == (maker.pk, "reader", None)


def test_only_owners_invite_and_nobody_who_is_in_already(owner, maker):
    with pytest.raises(OwnersOnly):
        invited(maker)
    with pytest.raises(AlreadyMember):
        invited(owner, maker.person.email.upper())
    with pytest.raises(Invalid) as refusal:
        invited(owner, "nowhere", "chief")
    assert refusal.value.errors.keys() == {"email", "role"}


def test_a_lesser_role_ends_the_keys_that_reach_further(owner, maker):
    write, _ = issue_key(by=maker, name="sync", scope="write", at=NOW)
    read, _ = issue_key(by=maker, name="look", scope="read", at=NOW)
    change_role(by=owner, at=NOW, member_id=maker.pk, role="reader")
    for key in (write, read):
        key.refresh_from_db()
    assert (write.revoked_at, read.revoked_at) == (NOW, None)


def test_who_is_removed_is_out_at_once_and_their_name_stays(owner, maker, client):
    key, _ = issue_key(by=maker, name="sync", scope="write", at=NOW)
    client.force_login(maker.person)
    assert client.get("/").status_code == 200
    remove_member(by=owner, at=NOW, member_id=maker.pk, why="moved away")
    key.refresh_from_db()
    assert key.revoked_at == NOW
    assert client.get("/").status_code == 403
    assert Member.objects.get(pk=maker.pk).person.name == maker.person.name


def test_a_studio_keeps_an_owner(owner, maker):
    with pytest.raises(LastOwner):
        change_role(by=owner, at=NOW, member_id=owner.pk, role="maker")
    with pytest.raises(NotOneself):
        remove_member(by=owner, at=NOW, member_id=owner.pk)
    hand_over_studio(by=owner, at=NOW, member_id=maker.pk)
    roles = dict(Member.objects.filter(studio=owner.studio).values_list("pk", "role"))
    assert roles == {owner.pk: "maker", maker.pk: "owner"}


def test_another_studios_member_is_not_there(owner, stranger):
    for verb in (remove_member, hand_over_studio):
        with pytest.raises(NoSuchThing):
            verb(by=owner, at=NOW, member_id=stranger.pk)
    with pytest.raises(NoSuchThing):
        change_role(by=owner, at=NOW, member_id=stranger.pk, role="reader")
