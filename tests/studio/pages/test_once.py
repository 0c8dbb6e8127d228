"""A form that is sent twice has one effect."""

import pytest

from inventory.models import Material
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db
NEW = "/materials/new/"


def count(member):
    return Material.objects.of(member.studio).count()


def test_a_form_sent_twice_is_done_once_and_leads_to_the_same_page(maker):
    visitor = Visitor(maker)
    sent = {"once": visitor.key(NEW), "name": "linalool", "kind": "odorant"}
    first, second = (visitor.client.post(NEW, sent) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 303)
    assert first["Location"] == second["Location"]
    assert count(maker) == 1
    assert "This was sent twice; it was done once." in visitor.text(second["Location"])


def test_a_form_sent_again_with_other_content_is_refused(maker):
    visitor = Visitor(maker)
    sent = {"once": visitor.key(NEW), "name": "linalool", "kind": "odorant"}
    visitor.client.post(NEW, sent)
    answer = visitor.client.post(NEW, {**sent, "name": "citral"})
    assert answer.status_code == 409
    assert "This form was sent already" in text(answer)
    assert count(maker) == 1


def test_a_form_with_faults_can_be_mended_and_sent_under_its_key(maker):
    visitor = Visitor(maker)
    sent = {"once": visitor.key(NEW), "name": "linalool", "kind": "odorant", "cas": "78-70-7"}
    assert visitor.client.post(NEW, sent).status_code == 422
    assert visitor.client.post(NEW, {**sent, "cas": "78-70-6"}).status_code == 303
    assert count(maker) == 1


def test_two_people_may_have_the_same_key(maker, owner):
    sent = {"once": "a" * 32, "kind": "odorant"}
    Visitor(maker).client.post(NEW, {**sent, "name": "linalool"})
    Visitor(owner).client.post(NEW, {**sent, "name": "citral"})
    assert count(maker) == 2
