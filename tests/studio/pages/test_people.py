"""Passwords, and going from one studio to another."""

import re

import pytest
from django.core import mail
from django.test import Client

from studio.actions.joining import join_studio
from studio.actions.leaving import LastOwner, leave_studio
from studio.models import ApiKey, Role
from studio.pages.passwords import LINKS
from tests.conftest import PASSWORD
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db
NEW_PASSWORD = "another vetiver root 8"


def signs_in(member, password):
    return (
        Client().post("/sign-in/", {"username": member.person.email, "password": password}).status_code == 302
    )


def test_changing_the_password_ends_other_sessions(maker):
    here, elsewhere = Visitor(maker), Visitor(maker)
    values = {"old_password": PASSWORD, "new_password1": NEW_PASSWORD, "new_password2": NEW_PASSWORD}
    assert here.client.post("/you/password/", values)["Location"] == "/you/"
    assert here.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 302
    assert signs_in(maker, NEW_PASSWORD)


def test_a_short_password_is_refused_in_words(maker):
    values = {"old_password": PASSWORD, "new_password1": "short", "new_password2": "short"}
    answer = Visitor(maker).client.post("/you/password/", values)
    assert "too short" in text(answer)
    assert signs_in(maker, PASSWORD)


def test_a_forgotten_password_is_set_with_a_link_that_works_once(maker):
    visitor = Client()
    assert visitor.post("/password/", {"email": maker.person.email})["Location"] == "/password/sent/"
    link = re.search(r"http://testserver(/password/\S+)", mail.outbox[0].body)[1]
    form = visitor.get(link)["Location"]
    values = {"new_password1": NEW_PASSWORD, "new_password2": NEW_PASSWORD}
    assert visitor.post(form, values)["Location"] == "/sign-in/"
    assert signs_in(maker, NEW_PASSWORD)
    assert "does not lead on" in text(Client().get(link, follow=True))


def test_an_unknown_address_is_told_the_same_and_gets_nothing():
    assert Client().post("/password/", {"email": "nobody@example.org"})["Location"] == "/password/sent/"
    assert mail.outbox == []


def test_only_a_few_links_an_hour_go_to_one_address(maker):
    for _ in range(LINKS + 3):
        Client().post("/password/", {"email": maker.person.email.upper()})
    assert len(mail.outbox) == LINKS


def test_somebody_in_two_studios_goes_from_one_to_the_other(maker, stranger, at):
    visitor = Visitor(maker)
    other = join_studio(person=maker.person, studio=stranger.studio, role=Role.MAKER, at=at)
    assert str(maker.studio) in visitor.text("/")
    visitor.client.post(f"/you/studios/{other.pk}/")
    assert str(stranger.studio) in visitor.text("/")
    visitor.client.post("/you/leave/")
    assert str(maker.studio) in visitor.text("/")


def test_nobody_goes_to_a_studio_they_are_not_in(maker, stranger):
    assert Visitor(maker).client.post(f"/you/studios/{stranger.pk}/").status_code == 404


def test_leaving_ends_the_keys_and_coming_back_keeps_the_role(maker, owner, key_of, at):
    key_of(maker)
    leave_studio(by=maker, at=at)
    assert not ApiKey.objects.filter(member=maker, revoked_at=None).exists()
    back = join_studio(person=maker.person, studio=owner.studio, role=Role.OWNER, at=at)
    assert (back.pk, back.role, back.left_at) == (maker.pk, Role.MAKER, None)


def test_the_last_owner_stays(owner, at):
    with pytest.raises(LastOwner):
        leave_studio(by=owner, at=at)
    assert "last owner" in text(Visitor(owner).client.post("/you/leave/"))
