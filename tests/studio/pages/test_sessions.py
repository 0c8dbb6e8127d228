"""Where one is signed in: told, ended one by one and all at once, and never carried over from before the sign-in."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from studio.actions.sessions import forget_old_sessions
from studio.kernel.browsers import browser_told
from studio.models import BrowserSession
from tests.conftest import PASSWORD
from tests.pages import text

pytestmark = pytest.mark.django_db
LINUX = "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0"
PHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/17.5 Mobile/15E148 Safari/604.1"
)


def signed_in(member, agent=LINUX, address="192.0.2.7", cookie=""):
    browser = Client(headers={"user-agent": agent}, REMOTE_ADDR=address)
    if cookie:
        browser.cookies["sessionid"] = cookie
    told = {"username": member.person.email, "password": PASSWORD}
    assert browser.post("/sign-in/", told)["Location"] == "/"
    return browser


def is_in(browser):
    return browser.get("/you/").status_code == 200


def rows(member):
    return BrowserSession.objects.filter(person=member.person)


@pytest.mark.parametrize(
    ("agent", "told"),
    [
        (LINUX, "Firefox on Linux"),
        (PHONE, "Safari on iPhone"),
        (
            "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 Chrome/126.0.0.0 Safari/537.36",
            "Chrome on Windows",
        ),
        ("curl/8.1", "another program"),
        ("", "another program"),
    ],
)
def test_a_browser_is_told_in_short_words(agent, told):
    assert browser_told(agent) == told


def test_each_browser_is_listed_with_where_it_came_from(maker):
    here, _ = signed_in(maker), signed_in(maker, PHONE, "198.51.100.4")
    page = text(here.get("/you/sessions/"))
    assert "Firefox on Linux this one 192.0.2.7" in page
    assert "Safari on iPhone 198.51.100.4" in page
    for row in rows(maker):
        assert row.session_key not in here.get("/you/sessions/").content.decode()


def test_one_is_ended_at_once_and_the_others_stay(maker):
    here, phone, other = signed_in(maker), signed_in(maker, PHONE), signed_in(maker)
    name = rows(maker).get(browser="Safari on iPhone").name
    assert here.post(f"/you/sessions/{name}/end/").status_code == 303
    assert [is_in(one) for one in (here, phone, other)] == [True, False, True]
    assert phone.get("/api/v1/studio/").status_code == 401
    assert here.post(f"/you/sessions/{name}/end/").status_code == 404


def test_all_others_are_ended(maker):
    here, phone, other = signed_in(maker), signed_in(maker, PHONE), signed_in(maker)
    here.post("/you/sessions/others/end/")
    assert [is_in(one) for one in (here, phone, other)] == [True, False, False]


def test_nobody_ends_the_session_of_somebody_else(maker, owner):
    theirs = signed_in(maker)
    answer = signed_in(owner).post(f"/you/sessions/{rows(maker).get().name}/end/")
    assert answer.status_code == 404
    assert is_in(theirs)


def test_a_new_password_leaves_one_session_and_none_that_is_listed(maker):
    here, phone = signed_in(maker), signed_in(maker, PHONE)
    fresh = "another vetiver root 8"
    here.post("/you/password/", {"old_password": PASSWORD, "new_password1": fresh, "new_password2": fresh})
    assert [is_in(one) for one in (here, phone)] == [True, False]
    assert rows(maker).count() == 1
    assert "password changed" in text(here.get("/history/"))


def test_a_session_known_before_the_sign_in_is_not_that_after_it(maker):
    stranger = Client()
    stranger.get("/join/nothing/")
    stranger.session.save()
    planted = stranger.session.session_key
    victim = signed_in(maker, cookie=planted)
    assert victim.session.session_key != planted
    thief = Client()
    thief.cookies["sessionid"] = planted
    assert not is_in(thief)
    invented = signed_in(maker, cookie="chosenbysomebodyelse0123456789ab")
    assert invented.session.session_key != "chosenbysomebodyelse0123456789ab"


def test_signing_out_leaves_no_session_behind(maker):
    browser = signed_in(maker)
    before = browser.session.session_key
    browser.post("/sign-out/")
    assert not BrowserSession.objects.filter(session_key=before).exists()


def test_when_it_was_last_seen_is_noted_every_few_minutes_only(maker):
    browser = signed_in(maker)
    early = timezone.now() - timedelta(hours=1)
    rows(maker).update(seen_at=early)
    browser.get("/you/")
    noted = rows(maker).get().seen_at
    assert noted > early
    browser.get("/you/")
    assert rows(maker).get().seen_at == noted


def test_sessions_that_have_run_out_are_forgotten_and_not_listed(maker):
    here, _ = signed_in(maker), signed_in(maker, PHONE)
    rows(maker).filter(browser="Safari on iPhone").update(expire_date=timezone.now() - timedelta(days=1))
    assert "iPhone" not in text(here.get("/you/sessions/"))
    assert forget_old_sessions(at=timezone.now()) >= 1
    assert rows(maker).count() == 1
    assert is_in(here)
