"""How often one key may ask."""

import pytest

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def rate(settings):
    settings.REQUESTS_PER_MINUTE = 3


def test_beyond_the_rate_a_key_is_asked_to_wait(api):
    assert [api.get("studio/").status_code for _ in range(3)] == [200] * 3
    answer = api.get("studio/")
    assert answer.status_code == 429
    assert 1 <= int(answer["Retry-After"]) <= 60
    assert answer.json()["type"] == "/problems/too-many-requests"
    assert answer.json()["seconds"] == int(answer["Retry-After"])


def test_every_key_has_a_rate_of_its_own(api, api_of, owner):
    for _ in range(4):
        api.get("studio/")
    assert api_of(owner).get("studio/").status_code == 200


def test_a_session_has_a_rate_too(client, maker):
    client.force_login(maker.person)
    assert [client.get("/api/v1/studio/").status_code for _ in range(4)] == [200, 200, 200, 429]
