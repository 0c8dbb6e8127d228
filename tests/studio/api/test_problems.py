"""Refusals and failures as RFC 9457 problems."""

import re

import pytest
from django.utils.encoding import escape_uri_path

from studio.api.problems import catalogue, status_of
from studio.kernel.errors import Conflict, Forbidden, Invalid, NotFound, Refusal, StaleEdition
from tests.client import Api

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.api.example")]


def problem(answer):
    """The problem of an answer, after what RFC 9457 asks of each was seen to hold."""
    body = answer.json()
    assert answer["Content-Type"] == "application/problem+json"
    assert {"type", "title", "status", "detail", "instance"} <= set(body)
    assert body["status"] == answer.status_code
    assert body["instance"] == escape_uri_path(answer.wsgi_request.path)
    assert re.fullmatch(r"/problems/[a-z0-9-]+", body["type"])
    assert body["detail"].endswith(".") or "below)" in body["detail"]
    return body


@pytest.mark.parametrize(
    ("kind", "status"),
    [(Invalid, 400), (Forbidden, 403), (NotFound, 404), (Conflict, 409), (StaleEdition, 412), (Refusal, 409)],
)
def test_each_kind_of_refusal_has_its_status(kind, status):
    assert status_of(kind) == status
    assert status_of(type("Special", (kind,), {"code": kind.code})) == status


@pytest.mark.parametrize(
    ("how", "status"),
    [
        ("invalid", 400),
        ("forbidden", 403),
        ("not-found", 404),
        ("conflict", 409),
        ("stale", 412),
        ("other", 409),
    ],
)
def test_a_refusal_is_answered_as_a_problem(api, how, status):
    answer = api.get(f"failing/{how}/")
    assert answer.status_code == status
    problem(answer)


def test_the_fields_of_a_refusal_are_members_of_the_problem(api):
    assert problem(api.get("failing/conflict/"))["lots"] == [{"lot": "26-0001-X"}]
    invalid = problem(api.get("failing/invalid/"))
    assert (invalid["wanted"], invalid["errors"]) == ("x", {"a.b": ["Bad."]})


def test_a_field_of_a_refusal_cannot_take_the_place_of_a_member(api):
    body = problem(api.get("failing/shadow/"))
    assert (body["status"], body["type"], body["detail"]) == (409, "/problems/conflict", "Short.")


def test_gathered_faults_are_all_there(api):
    body = problem(api.post("failing/x/"))
    assert body["errors"] == {"lines.0.mass": ["Too much."], "lines.1.mass": ["Too little."]}


def test_a_mistake_of_the_program_is_a_plain_500_that_tells_nothing(api):
    answer = api.get("failing/bug/")
    assert answer.status_code == 500
    assert problem(answer)["type"] == "/problems/broken"
    assert "secret" not in answer.content.decode()


@pytest.mark.parametrize("how", ["unique", "key", "check", "unique on sqlite"])
def test_a_race_that_the_database_caught_is_a_conflict(api, how):
    answer = api.get(f"failing/{how}/")
    assert answer.status_code == 409
    assert problem(answer)["type"] == "/problems/taken"


@pytest.mark.parametrize("how", ["not null", "append-only", "no table"])
def test_what_no_race_explains_stays_a_failure(api, how):
    assert api.get(f"failing/{how}/").status_code == 500


def test_a_value_that_the_database_does_not_take_is_bad_input(api):
    assert problem(api.get("failing/too long/"))["status"] == 400


@pytest.mark.parametrize("how", ["deadlock", "locked on sqlite"])
def test_a_busy_database_asks_to_come_back(api, how):
    answer = api.get(f"failing/{how}/")
    assert answer.status_code == 503
    assert answer["Retry-After"] == "1"
    assert problem(answer)["type"] == "/problems/busy"


def test_an_unknown_address_under_the_api_is_a_problem_too(api):
    answer = api.get("nowhere/")
    assert answer.status_code == 404
    assert problem(answer)["type"] == "/problems/not-found"


def test_a_method_that_is_not_there_is_told_with_those_that_are(api):
    answer = api.delete("everything/")
    assert answer.status_code == 405
    assert answer["Allow"] == "POST"
    problem(answer)


@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "CONNECT", "BREW", "__class__"])
def test_methods_of_no_use_here_are_not_there_for_anybody(api, method):
    for session in (api, Api(None)):
        assert session.call(method, "studio/").status_code == 405


def test_head_is_get_without_its_body(api):
    answer = api.call("HEAD", "asking/?deep=2")
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer["ETag"] == api.get("asking/?deep=2")["ETag"]


def test_an_unknown_form_of_answer_is_refused(api):
    for headers, query in (({"accept": "image/png"}, ""), ({}, "?format=xml")):
        answer = api.get("studio/" + query, **headers)
        assert answer.status_code == 406
        assert problem(answer)["type"] == "/problems/form-unavailable"


def test_problems_are_never_kept_by_a_cache(api):
    assert api.get("failing/conflict/")["Cache-Control"] == "no-store"


def test_every_refusal_has_a_code_of_its_own_a_title_and_a_meaning():
    kinds = catalogue()
    for kind in kinds:
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", kind.code)
        assert kind.title
        assert kind.meaning.endswith(".")
        assert 400 <= kind.status < 600
    assert len({kind.code for kind in kinds}) == len(kinds)


def test_the_kinds_are_published_for_machines_and_for_people(client):
    items = client.get("/api/problems/").json()["items"]
    assert {"invalid", "taken", "key-reused", "stale-edition"} <= {item["code"] for item in items}
    for item in items:
        page = client.get(item["type"])
        assert page.status_code == 200
        assert item["code"] in page.content.decode()
    assert client.get("/problems/nothing-of-ours").status_code == 404
