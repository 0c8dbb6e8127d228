"""One-time codes: turned on with a device, asked for at sign-in, good once, and no way round them."""

import base64
import logging
import re
from io import StringIO

import pytest
from django.core import mail
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from studio.actions.codes import LIMITS
from studio.kernel.one_time_codes import code_at, shared_secret, step_at
from studio.models import HistoryEntry, OneTimeCodes, Person, RecoveryCode
from tests.conftest import PASSWORD
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db


def device(member):
    """The secret as the service reckons it, which a device has read from the page."""
    return shared_secret(OneTimeCodes.objects.get(person=member.person).nonce)


def shown(secret, *, later=0):
    return code_at(secret, step_at(timezone.now()) + later)


def turned_on(member):
    """Turn them on as a person does; returns the device's secret and the recovery codes."""
    visitor = Visitor(member)
    page = text(visitor.client.post("/you/codes/begin/", {"password": PASSWORD}))
    typed = re.search(r"(?:[A-Z2-7]{4} ){7}[A-Z2-7]{4}", page)[0]
    secret = base64.b32decode(typed.replace(" ", ""))
    assert secret == device(member)
    answer = visitor.client.post("/you/codes/confirm/", {"code": shown(secret, later=-1)})
    codes = re.search(r"<code>(.*?)</code>", answer.content.decode(), re.DOTALL)[1].split("\n")
    return secret, [code for code in codes if code]


def password_given(member, password=PASSWORD):
    browser = Client(raise_request_exception=False)
    told = {"username": member.person.email, "password": password, "next": "/shelf/"}
    return browser, browser.post("/sign-in/", told)


def is_in(browser):
    return browser.get("/you/").status_code == 200


def test_with_codes_on_the_password_alone_lets_nobody_in(maker):
    secret, _ = turned_on(maker)
    browser, answer = password_given(maker)
    assert answer["Location"] == "/sign-in/code/"
    assert not is_in(browser)
    assert browser.get("/api/v1/studio/").status_code == 401
    assert "does not fit" in text(browser.post("/sign-in/code/", {"code": "000000"}))
    assert not is_in(browser)
    before = browser.session.session_key
    answer = browser.post("/sign-in/code/", {"code": shown(secret)})
    assert answer["Location"] == "/shelf/"
    assert is_in(browser)
    assert browser.session.session_key != before


def test_a_code_lets_in_once(maker):
    secret, _ = turned_on(maker)
    code = shown(secret)
    for lets_in in (True, False):
        browser, _ = password_given(maker)
        browser.post("/sign-in/code/", {"code": code})
        assert is_in(browser) is lets_in


def test_each_recovery_code_lets_in_once_however_it_is_typed(maker):
    _, recovery = turned_on(maker)
    assert len(set(recovery)) == 10
    for typed, lets_in in (
        (recovery[0].lower(), True),
        (recovery[0], False),
        (recovery[1].replace(" ", "-"), True),
    ):
        browser, _ = password_given(maker)
        browser.post("/sign-in/code/", {"code": typed})
        assert is_in(browser) is lets_in
    assert "8 recovery codes left" in Visitor(maker).text("/you/codes/")


def test_a_new_password_by_mail_is_no_way_round(maker):
    turned_on(maker)
    browser = Client()
    browser.post("/password/", {"email": maker.person.email})
    link = re.search(r"http://testserver(/password/\S+)", mail.outbox[0].body)[1]
    fresh = {"new_password1": "another vetiver root 8", "new_password2": "another vetiver root 8"}
    browser.post(browser.get(link)["Location"], fresh)
    assert not is_in(browser)
    browser, answer = password_given(maker, "another vetiver root 8")
    assert answer["Location"] == "/sign-in/code/"
    assert not is_in(browser)


def test_a_changed_password_ends_the_wait_for_a_code(maker):
    secret, _ = turned_on(maker)
    browser, _ = password_given(maker)
    person = Person.objects.get(pk=maker.person_id)
    person.set_password("another vetiver root 8")
    person.save()
    browser.post("/sign-in/code/", {"code": shown(secret)})
    assert not is_in(browser)
    assert "address and password first" in text(browser.get("/sign-in/code/", follow=True))


def test_guessing_codes_is_slowed_down_even_for_the_right_one(maker):
    secret, _ = turned_on(maker)
    browser, _ = password_given(maker)
    for _ in range(LIMITS[0][0]):
        browser.post("/sign-in/code/", {"code": "000000"})
    assert "Too many codes" in text(browser.post("/sign-in/code/", {"code": shown(secret)}))
    assert not is_in(browser)


def test_they_are_turned_on_and_off_only_with_the_password(maker):
    visitor = Visitor(maker)
    assert "not your password" in text(visitor.client.post("/you/codes/begin/", {"password": "guess"}))
    assert not OneTimeCodes.objects.filter(person=maker.person).exists()
    turned_on(maker)
    assert visitor.get("/you/").status_code == 302, "a session that began without a code ends"
    visitor = Visitor(maker)
    assert visitor.client.post("/you/codes/end/", {"password": "guess"}).status_code == 422
    assert visitor.client.post("/you/codes/begin/", {"password": PASSWORD}).status_code == 422
    assert password_given(maker)[1]["Location"] == "/sign-in/code/"
    visitor.client.post("/you/codes/end/", {"password": PASSWORD})
    assert password_given(maker)[1]["Location"] == "/shelf/"
    verbs = HistoryEntry.objects.filter(studio=maker.studio, name=maker.person.name).order_by("id")
    assert [verb for verb in verbs.values_list("verb", flat=True) if "codes" in verb] == [
        "one-time codes on",
        "one-time codes off",
    ]


def test_a_device_that_gave_no_code_yet_locks_nobody_out(maker):
    Visitor(maker).client.post("/you/codes/begin/", {"password": PASSWORD})
    assert password_given(maker)[1]["Location"] == "/shelf/"


def test_nothing_secret_is_shown_again_stored_or_logged(maker, caplog):
    with caplog.at_level(logging.DEBUG):
        secret, recovery = turned_on(maker)
    typed = base64.b32encode(secret).decode()
    visitor = Visitor(maker)
    wrong = text(visitor.client.post("/you/codes/confirm/", {"code": "000000"}))
    for place in (wrong, visitor.text("/you/codes/"), visitor.text("/you/"), caplog.text):
        assert typed not in place.replace(" ", "")
        assert recovery[0] not in place
    kept = repr([*OneTimeCodes.objects.values(), *RecoveryCode.objects.values()])
    assert typed not in kept
    assert secret.hex() not in kept
    assert recovery[0].replace(" ", "") not in kept


def test_the_operator_lets_somebody_in_who_has_lost_everything(maker):
    turned_on(maker)
    call_command("drop_codes", maker.person.email.upper(), stdout=StringIO())
    assert password_given(maker)[1]["Location"] == "/shelf/"
