"""Who may do what: roles, scopes of keys, and harmless computations."""

import pytest

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.api.example")]


@pytest.mark.parametrize(
    ("role", "scope", "status"),
    [
        ("owner", "admin", 201),
        ("owner", "write", 201),
        ("owner", "read", 403),
        ("maker", "write", 201),
        ("maker", "read", 403),
        ("reader", "read", 403),
    ],
)
def test_owners_and_makers_write_with_keys_that_write(owner, new_member, api_of, role, scope, status):
    member = owner if role == "owner" else new_member(owner, role)
    assert api_of(member, scope).post("notes/").status_code == status


@pytest.mark.parametrize("role", ["owner", "maker", "reader"])
def test_everybody_reads_and_computes_with_a_read_key(owner, new_member, api_of, role):
    session = api_of(owner if role == "owner" else new_member(owner, role), "read")
    assert session.get("studio/").status_code == 200
    assert session.post("everything/", {"mass": "1"}).status_code == 200


def test_a_reader_is_told_who_may(reader, api_of):
    body = api_of(reader).post("notes/").json()
    assert body["type"] == "/problems/readers-only-read"
    assert body["detail"].endswith("only owners and makers change things.")


def test_a_reader_may_keep_keys_of_their_own_by_the_session(reader, client):
    client.force_login(reader.person)
    made = client.post("/api/v1/keys/", '{"name": "x", "scope": "read"}', content_type="application/json")
    assert made.status_code == 201
    refused = client.post("/api/v1/keys/", '{"name": "x", "scope": "write"}', content_type="application/json")
    assert refused.status_code == 403
    assert refused.json()["type"] == "/problems/scope-beyond-role"


def test_a_reader_changes_nothing_by_the_session_either(reader, client):
    client.force_login(reader.person)
    assert client.post("/api/v1/notes/", "{}", content_type="application/json").status_code == 403
