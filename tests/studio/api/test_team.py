"""The studio's own resources over the API."""

import pytest

pytestmark = pytest.mark.django_db


def test_the_studio_is_read_with_its_figures(api, studio):
    answer = api.get("studio/")
    assert answer.status_code == 200
    assert answer.json() == {
        "name": studio.name,
        "currency": "EUR",
        "weighing_tolerance": "0.02",
        "strength_tolerance": "0.02",
        "claim_days": 14,
        "document_days": 90,
        "two_person_check": False,
        "edition": 1,
    }


def test_an_owner_changes_a_tolerance_on_the_edition_that_was_read(api):
    read = api.get("studio/")
    answer = api.patch("studio/", {"weighing_tolerance": "0.05"}, etag=read["ETag"])
    assert answer.status_code == 200
    assert answer.json()["weighing_tolerance"] == "0.05"
    assert answer.json()["edition"] == 2
    assert api.get("studio/")["ETag"] == answer["ETag"] != read["ETag"]


def test_a_change_on_an_edition_that_is_past_is_refused(api):
    read = api.get("studio/")
    api.patch("studio/", {"claim_days": 3}, etag=read["ETag"])
    answer = api.patch("studio/", {"claim_days": 4}, etag=read["ETag"])
    assert answer.status_code == 412
    assert answer.json()["type"] == "/problems/stale-edition"
    assert api.get("studio/").json()["claim_days"] == 3


def test_a_change_without_if_match_is_refused(api):
    answer = api.patch("studio/", {"claim_days": 4}, etag=None)
    assert answer.status_code == 428
    assert answer.json()["type"] == "/problems/precondition-required"
    assert answer["Cache-Control"] == "no-store"


def test_a_maker_does_not_change_the_studio(api_of, maker):
    answer = api_of(maker).patch("studio/", {"claim_days": 4})
    assert answer.status_code == 403


def test_a_write_key_of_an_owner_does_not_change_the_studio(api_of, owner):
    answer = api_of(owner, "write").patch("studio/", {"claim_days": 4})
    assert answer.status_code == 403
    assert answer.json()["type"] == "/problems/key-scope-too-small"


def test_members_are_listed_by_name_and_only_those_of_the_studio(api, owner, maker, reader, stranger):
    rows = api.get("members/").json()["items"]
    assert [row["id"] for row in rows] == [str(owner.pk), str(maker.pk), str(reader.pk)]
    assert [row["role"] for row in rows] == ["owner", "maker", "reader"]
    assert api.get("members/?role=maker").json()["items"] == [rows[1]]


def test_a_new_key_works_and_its_secret_is_in_this_answer_only(api):
    answer = api.post("keys/", {"name": "bench", "scope": "read"})
    assert answer.status_code == 201
    issued = answer.json()
    assert issued["secret"].startswith(issued["key"]["prefix"])
    assert api.get("studio/", authorization=f"Bearer {issued['secret']}").status_code == 200
    assert issued["secret"] not in api.get(answer["Location"]).content.decode()
    assert issued["secret"] not in api.get("keys/").content.decode()


def test_repeating_the_issue_of_a_key_issues_nothing_and_tells_no_secret(api):
    first = api.post("keys/", {"name": "bench"}, key="k1").json()
    again = api.post("keys/", {"name": "bench"}, key="k1")
    assert again["Idempotent-Replay"] == "true"
    assert again.json() == {"key": first["key"], "secret": None}
    assert len(api.all("keys/")) == 2


def test_a_revoked_key_is_refused_at_once(api):
    issued = api.post("keys/", {"name": "bench", "scope": "read"}).json()
    answer = api.post(f"keys/{issued['key']['id']}/revoke/", {"why": "lost"})
    assert answer.status_code == 200
    assert answer.json()["revoked_at"]
    refused = api.get("studio/", authorization=f"Bearer {issued['secret']}")
    assert refused.status_code == 401
    assert "revoked" in refused.json()["detail"]


def test_members_see_their_own_keys_and_owners_all_of_the_studio(api, api_of, maker, stranger, key_of):
    key_of(stranger)
    key_of(maker)
    assert len(api.all("keys/")) == 2
    assert len(api_of(maker).all("keys/")) == 2
    assert len(api.all("keys/")) == 3


def test_the_key_of_somebody_else_does_not_exist_for_a_maker(api, api_of, maker, stranger):
    others = [
        api.get("keys/").json()["items"][0]["id"],
        api_of(stranger).get("keys/").json()["items"][0]["id"],
    ]
    session = api_of(maker)
    for other in (*others, 987_654_321, 10**30):
        answer = session.get(f"keys/{other}/")
        assert answer.status_code == 404
        assert answer.json()["detail"] == "There is no such key."


def test_a_write_key_does_not_issue_keys(api_of, owner):
    assert api_of(owner, "write").post("keys/", {"name": "more", "scope": "admin"}).status_code == 403


def test_the_history_tells_who_changed_what_from_what_to_what(api, owner):
    api.patch("studio/", {"claim_days": 3})
    entry = api.get("history/?subject=studio&verb=changed").json()["items"][0]
    assert entry["by"] == str(owner)
    assert entry["changes"] == {"claim_days": [14, 3]}


def test_the_history_of_another_studio_is_not_seen(api, stranger):
    assert all(entry["name"] != stranger.studio.name for entry in api.all("history/"))
