"""How often one key may ask."""

import pytest

from studio.api import throttles

MINUTE = 1_800_000_000
"""The first second of a minute, in seconds since the epoch."""

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def rate(settings):
    settings.REQUESTS_PER_MINUTE = 3


@pytest.fixture(autouse=True)
def stand_at(monkeypatch):
    """Lets the clock of the rate stand still: the minute must not turn in the middle of a test."""

    def stand(second):
        monkeypatch.setattr(throttles, "clock", lambda: MINUTE + second)

    stand(30)
    return stand


def test_beyond_the_rate_a_key_is_asked_to_wait(api):
    assert [api.get("studio/").status_code for _ in range(3)] == [200] * 3
    answer = api.get("studio/")
    assert answer.status_code == 429
    assert answer["Retry-After"] == "30"
    assert answer.json()["type"] == "/problems/too-many-requests"
    assert answer.json()["seconds"] == 30


def test_whoever_waits_as_long_as_told_may_ask_again(api, stand_at):
    stand_at(59.9)
    answers = [api.get("studio/") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert answers[-1]["Retry-After"] == "1"
    stand_at(60)
    assert api.get("studio/").status_code == 200


def test_every_key_has_a_rate_of_its_own(api, api_of, owner):
    for _ in range(4):
        api.get("studio/")
    assert api_of(owner).get("studio/").status_code == 200


def test_a_session_has_a_rate_too(client, maker):
    client.force_login(maker.person)
    assert [client.get("/api/v1/studio/").status_code for _ in range(4)] == [200, 200, 200, 429]
