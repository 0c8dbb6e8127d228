"""The shell of the pages: signing in, the first page, faults, health, and what browsers are told."""

import re

import pytest
from django.db import Error, InterfaceError, OperationalError
from django.test import Client

from studio.models import ApiKey
from studio.pages.sign_in import TRIES
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser():
    return Client(raise_request_exception=False)


def sign_in(browser, member, password=PASSWORD):
    return browser.post("/sign-in/", {"username": member.person.email, "password": password})


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_the_first_page_asks_to_sign_in(browser):
    answer = browser.get("/")
    assert answer.status_code == 302
    assert answer["Location"] == "/sign-in/?next=/"


def test_signing_in_leads_to_the_studio(browser, maker):
    assert sign_in(browser, maker)["Location"] == "/"
    assert maker.studio.name in text(browser.get("/"))
    assert f"You act in {maker.studio} as maker" in text(browser.get("/you/"))


def test_an_address_signs_in_in_any_case(browser, maker):
    answer = browser.post("/sign-in/", {"username": maker.person.email.upper(), "password": PASSWORD})
    assert answer.status_code == 302


def test_a_wrong_password_and_an_unknown_address_are_refused_in_the_same_words(browser, maker):
    wrong = sign_in(browser, maker, "wrong")
    unknown = browser.post("/sign-in/", {"username": "nobody@example.org", "password": "wrong"})
    sentence = "This address and password do not belong together. Check both."
    assert sentence in text(wrong)
    assert sentence in text(unknown)


def test_guessing_is_slowed_down_even_for_the_right_password(browser, maker, reader):
    for _ in range(TRIES):
        sign_in(browser, maker, "wrong")
    assert "Too many tries" in text(sign_in(browser, maker))
    assert sign_in(browser, reader).status_code == 302


def test_signing_in_does_not_lead_to_another_host(browser, maker):
    answer = browser.post(
        "/sign-in/", {"username": maker.person.email, "password": PASSWORD, "next": "https://example.org/"}
    )
    assert answer["Location"] == "/"


def test_signing_out_ends_the_session(browser, maker):
    sign_in(browser, maker)
    assert browser.get("/sign-out/").status_code == 405
    browser.post("/sign-out/")
    assert browser.get("/").status_code == 302


def test_a_key_is_issued_on_the_page_and_its_secret_shown_this_once(browser, maker):
    sign_in(browser, maker)
    answer = browser.post("/keys/", {"name": "bench", "scope": "write"})
    secret = re.search(r"still_[A-Za-z0-9_-]{38}", answer.content.decode())[0]
    assert "no-store" in answer["Cache-Control"]
    assert browser.get("/api/v1/studio/", headers={"Authorization": f"Bearer {secret}"}).status_code == 200
    page = browser.get("/you/").content.decode()
    assert secret not in page
    assert secret[:12] in page


@pytest.mark.parametrize(("name", "scope"), [("", "write"), ("x", "root"), ("x", "admin")])
def test_a_key_that_may_not_be_is_refused_on_the_page(browser, maker, name, scope):
    sign_in(browser, maker)
    assert browser.post("/keys/", {"name": name, "scope": scope}).status_code == 422
    assert not ApiKey.objects.filter(member=maker).exists()


def test_a_key_is_revoked_on_the_page(browser, maker):
    sign_in(browser, maker)
    browser.post("/keys/", {"name": "bench", "scope": "write"})
    key = ApiKey.objects.get(member=maker)
    browser.post(f"/keys/{key.pk}/end/")
    key.refresh_from_db()
    assert key.revoked_at is not None


def test_the_key_of_somebody_else_is_not_there(browser, maker, owner, key_of):
    key_of(owner)
    sign_in(browser, maker)
    other = ApiKey.objects.get(member=owner)
    assert browser.post(f"/keys/{other.pk}/end/").status_code == 404
    other.refresh_from_db()
    assert other.revoked_at is None


def test_a_form_without_its_token_changes_nothing(maker):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(maker.person)
    answer = browser.post("/keys/", {"name": "bench", "scope": "write"})
    assert answer.status_code == 403
    assert "open for too long" in text(answer)
    assert not ApiKey.objects.filter(member=maker).exists()


def test_who_is_in_no_studio_is_told_so(browser, maker):
    from studio.models import Member

    Member.objects.filter(pk=maker.pk).update(left_at=maker.joined_at)
    sign_in(browser, maker)
    answer = browser.get("/")
    assert answer.status_code == 403
    assert "You are in no studio" in text(answer)


def test_a_page_typed_without_its_slash_is_found_and_an_api_address_is_not(browser):
    assert browser.get("/sign-in")["Location"] == "/sign-in/"
    for answer in (
        browser.get("/api/v1/studio"),
        browser.post("/api/v1/keys", "{}", content_type="application/json"),
    ):
        assert answer.status_code == 404
        assert answer.json()["detail"] == "There is nothing at this address. Addresses here end in a slash."


@pytest.mark.parametrize("path", ["/", "/sign-in/"])
def test_an_unknown_host_is_refused_with_a_page(browser, path):
    answer = browser.get(path, headers={"Host": "elsewhere.example"})
    assert answer.status_code == 400
    assert "could not be read" in text(answer)


def test_the_page_of_a_failure_asks_nothing_of_the_request(rf, django_assert_num_queries):
    from studio.urls import handler500

    with django_assert_num_queries(0):
        answer = handler500(rf.get("/"))
    assert answer.status_code == 500
    assert "Something failed on our side" in text(answer)


@pytest.mark.parametrize("gone", [OperationalError("database is locked"), InterfaceError("closed")])
@pytest.mark.parametrize("path", ["/", "/api/v1/lots/"])
def test_a_database_that_is_away_for_a_moment_says_to_come_again(rf, gone, path):
    from studio.urls import handler500

    try:
        raise gone
    except Error:  # the handler is called while the error is being handled
        answer = handler500(rf.get(path))
    assert (answer.status_code, answer["Retry-After"]) == (503, "1")
    assert "service is busy" in answer.content.decode().lower()


def test_what_a_member_saw_is_kept_by_no_cache(browser, maker):
    sign_in(browser, maker)
    assert browser.get("/")["Cache-Control"] == "private, no-store"


def test_an_unknown_page_says_so_in_words(browser):
    answer = browser.get("/nowhere/")
    assert answer.status_code == 404
    assert "There is nothing here" in text(answer)


@pytest.mark.parametrize(
    "path", ["/", "/sign-in/", "/api/", "/api/v1/studio/", "/nowhere/", "/api/nowhere/", "/healthz"]
)
def test_every_answer_tells_the_browser_to_load_from_nowhere_else(browser, path):
    answer = browser.get(path)
    policy = answer["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["X-Frame-Options"] == "DENY"


def test_health_is_told_without_signing_in(browser, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert browser.get("/healthz").status_code == 200
    ready = browser.get("/readyz")
    assert ready.status_code == 200
    assert ready.json() == {"database": "ready", "cache": "ready", "broker": "none needed"}
    assert "no-store" in ready["Cache-Control"]


def test_a_database_that_is_not_migrated_is_not_ready(browser):
    from django.db.migrations.recorder import MigrationRecorder

    MigrationRecorder.Migration.objects.filter(app="sessions").delete()
    answer = browser.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["database"] == "not migrated"


@pytest.mark.parametrize(
    "path", ["/", "/you/", "/sign-in/", "/password/", "/api/", "/problems/", "/problems/invalid", "/nowhere/"]
)
def test_every_page_has_one_heading_a_language_and_a_way_past_the_menu(browser, maker, path):
    if path in ("/", "/you/"):
        sign_in(browser, maker)
    page = browser.get(path).content.decode()
    assert page.count("<h1") == 1
    assert '<html lang="en">' in page
    assert 'href="#main"' in page
    assert "<style" not in page
    assert "style=" not in page
    assert all("src=" in tag for tag in re.findall("<script[^>]*>", page))


def test_without_the_cache_the_service_counts_as_ready_and_says_what_is_missing(client, db, settings):
    settings.CACHES = {
        **settings.CACHES,
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
        },
    }
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json()["cache"] == "not reached"
