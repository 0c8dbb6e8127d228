"""The pages of members, and the ways in: by invitation, or by founding a studio."""

import re

import pytest
from django.core import mail

from studio.models import Member, Studio
from tests.conftest import PASSWORD
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db
LINK = re.compile(r"http://testserver(/join/[\w-]+/)")


def invited(owner, **told):
    answer = Visitor(owner).client.post(
        "/members/invite/", {"email": "noor@example.org", "role": "maker", **told}
    )
    return answer, (LINK.search(text(answer)) or [None, ""])[1]


def test_an_invitation_is_mailed_shown_once_and_leads_in(owner, client):
    answer, path = invited(owner)
    assert path
    [sent] = mail.outbox
    assert sent.to == ["noor@example.org"]
    assert path in sent.body
    assert path not in Visitor(owner).text("/members/")
    assert f"Come into {owner.studio}" in text(client.get(path))
    answer = client.post(path, {"name": "Noor", "email": "noor@example.org", "password": PASSWORD})
    assert answer.status_code == 302 or answer.status_code == 303
    assert str(owner.studio) in text(client.get("/"))
    assert client.get(path).status_code == 404


def test_a_newcomers_faults_are_told_by_field(owner, client):
    _, path = invited(owner)
    answer = client.post(path, {"name": "Noor", "email": "x", "password": "short"})
    assert answer.status_code == 422
    assert "not an e-mail address" in text(answer)


def test_who_signs_in_already_comes_in_with_a_click(owner, stranger):
    _, path = invited(owner)
    visitor = Visitor(stranger)
    assert visitor.client.post(path).status_code == 303
    assert f"{owner.studio}" in visitor.text("/")


def test_an_owner_looks_after_members(owner, maker):
    visitor = Visitor(owner)
    assert f"{maker} is reader now" in visitor.send_and_follow(f"/members/{maker.pk}/role/", role="reader")
    assert "is no longer in" in visitor.send_and_follow(f"/members/{maker.pk}/remove/", why="")
    assert f"No longer here: {maker}" in visitor.text("/members/")


def test_others_than_owners_see_members_and_change_nothing(owner, maker):
    visitor = Visitor(maker)
    assert "Invite" not in visitor.text("/members/")
    answer = visitor.send(f"/members/{owner.pk}/role/", role="reader")
    assert "Only an owner" in text(answer)
    assert Member.objects.get(pk=owner.pk).role == "owner"


def test_a_studio_is_founded_from_the_sign_in_page(client):
    assert "Found a studio" in text(client.get("/sign-in/"))
    told = {"studio": "Alembic", "name": "Ada", "email": "ada@example.org", "password": PASSWORD}
    assert client.post("/found/", told).status_code == 303
    assert "Alembic" in text(client.get("/"))
    assert Studio.objects.get(name="Alembic").members.get().role == "owner"


def test_studios_are_not_founded_by_the_dozen(client):
    for count in range(6):
        client.logout()
        told = {"studio": "x", "name": "Ada", "email": f"a{count}@example.org", "password": PASSWORD}
        answer = client.post("/found/", told)
    assert answer.status_code == 422
    assert "Wait a while" in text(answer)


def test_an_operator_may_close_the_door(client, settings):
    settings.OPEN_TO_NEW_STUDIOS = False
    assert client.get("/found/").status_code == 404


def test_an_owner_changes_what_the_studio_has_chosen(owner, maker):
    visitor = Visitor(owner)
    page = visitor.get("/members/studio/").content.decode()
    assert 'name="weighing_tolerance" value="2"' in re.sub(
        r" (?:id|autocomplete|inputmode|class|spellcheck|aria-\w+|required)(?:=\"[^\"]*\")?", "", page
    )
    told = {
        "edition": owner.studio.edition,
        "name": "Alembic",
        "currency": "EUR",
        "weighing_tolerance": "1.5",
        "strength_tolerance": "2",
        "claim_days": "9",
        "document_days": "90",
        "two_person_check": "on",
    }
    assert "holds from now on" in visitor.send_and_follow("/members/studio/", **told)
    studio = Studio.objects.get(pk=owner.studio_id)
    assert (studio.name, str(studio.weighing_tolerance), studio.claim_days) == ("Alembic", "0.015000000", 9)
    assert studio.two_person_check
    stale = visitor.send("/members/studio/", **told)
    assert (stale.status_code, "changed since you read it" in text(stale)) == (422, True)
    assert visitor.send("/members/studio/", **{**told, "claim_days": "0"}).status_code == 422
    assert Visitor(maker).get("/members/studio/").status_code == 403
