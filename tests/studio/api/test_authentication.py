"""Who asks: keys and sessions, and everything that is neither."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from studio.actions.keys import issue_key
from studio.models import ApiKey, Member
from tests.client import Api
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
# Well formed, and given to nobody: thirty-two letters and the first six digits of the SHA-256 over "still_" and them.
SECRET = "still_" + "A" * 32 + "8d27de"


def refused(answer):
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith('Bearer realm="Stillroom"')
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/not-signed-in"
    return answer.json()["detail"]


def test_without_a_key_nothing_is_answered_on_any_method(owner):
    nobody = Api(None)
    for answer in (nobody.get("studio/"), nobody.post("keys/", {}), nobody.patch("studio/", {})):
        refused(answer)


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("Bearer", "not a whole key"),
        ("Bearer ", "not a whole key"),
        ("Bearer x", "not a whole key"),
        ("Bearer \xff\xfe", "not a whole key"),
        ("Basic YTpi", "scheme Bearer"),
        (f"Bearer {SECRET[:-1]}", "not a whole key"),
        (f"Bearer {SECRET}", "unknown"),
    ],
)
def test_a_key_that_is_none_is_refused_with_what_is_wrong(owner, header, said):
    assert said in refused(Api(None).get("studio/", authorization=header))


def test_a_mistyped_key_is_refused_without_a_look_into_the_database(owner, django_assert_num_queries):
    with django_assert_num_queries(0):
        refused(Api(SECRET[:-1]).get("studio/"))


def test_the_scheme_may_be_written_in_any_case(key_of, owner):
    assert Api(None).get("studio/", authorization=f"bEARER  {key_of(owner)}").status_code == 200


def test_a_key_costs_one_statement_and_a_second_once_a_minute(api, django_assert_num_queries):
    with django_assert_num_queries(2):
        api.get("studio/")
    with django_assert_num_queries(1):
        api.get("studio/")


def test_an_expired_key_is_refused(owner):
    _, secret = issue_key(by=owner, name="x", scope="read", at=NOW, expires_at=NOW + timedelta(seconds=1))
    assert "expired" in refused(Api(secret).get("studio/"))


def test_a_key_that_has_time_left_works(owner):
    now = timezone.now()
    _, secret = issue_key(by=owner, name="x", scope="read", at=now, expires_at=now + timedelta(hours=1))
    assert Api(secret).get("studio/").status_code == 200


def test_the_key_of_a_member_who_left_is_refused(api_of, maker):
    session = api_of(maker)
    Member.objects.filter(pk=maker.pk).update(left_at=NOW)
    assert "left" in refused(session.get("studio/"))


def test_the_key_of_a_closed_account_is_refused(api_of, maker):
    session = api_of(maker)
    maker.person.is_active = False
    maker.person.save()
    assert "left" in refused(session.get("studio/"))


@pytest.fixture
def browser(maker):
    client = Client(enforce_csrf_checks=True)
    client.force_login(maker.person)
    return client


def test_a_signed_in_person_reads_with_the_session(browser, maker):
    answer = browser.get("/api/v1/studio/")
    assert answer.status_code == 200
    assert answer.json()["name"] == maker.studio.name


def test_a_session_changes_nothing_without_its_csrf_token(browser, maker):
    answer = browser.post("/api/v1/keys/", "{}", content_type="application/json")
    assert answer.status_code == 403
    assert answer["Content-Type"] == "application/problem+json"
    assert not ApiKey.objects.filter(member=maker).exists()


def test_a_session_with_its_csrf_token_reaches_as_far_as_its_member(browser, maker):
    browser.get("/")
    token = browser.cookies["csrftoken"].value
    answer = browser.post(
        "/api/v1/keys/", '{"name": "x"}', content_type="application/json", headers={"X-CSRFToken": token}
    )
    assert answer.status_code == 201
    assert ApiKey.objects.get(member=maker).scope == "write"


def test_a_key_needs_no_csrf_token_even_beside_a_session(browser, key_of, owner):
    answer = browser.post(
        "/api/v1/keys/",
        '{"name": "x"}',
        content_type="application/json",
        headers={"Authorization": f"Bearer {key_of(owner)}"},
    )
    assert answer.status_code == 201
    assert answer.json()["key"]["member"] == str(owner)


def test_a_person_in_several_studios_acts_where_the_session_says(browser, maker, stranger):
    second = Member.objects.create(studio=stranger.studio, person=maker.person, role="maker", joined_at=NOW)
    assert browser.get("/api/v1/studio/").json()["name"] == maker.studio.name
    session = browser.session
    session["member"] = second.pk
    session.save()
    assert browser.get("/api/v1/studio/").json()["name"] == stranger.studio.name


def test_a_session_cannot_name_the_membership_of_somebody_else(browser, maker, stranger):
    session = browser.session
    session["member"] = stranger.pk
    session.save()
    assert browser.get("/api/v1/studio/").json()["name"] == maker.studio.name


def test_a_person_without_a_studio_is_nobody(browser, maker):
    Member.objects.filter(pk=maker.pk).update(left_at=NOW)
    refused(browser.get("/api/v1/studio/"))
