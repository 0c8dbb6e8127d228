"""Issuing, revoking and noting the use of keys."""

from datetime import timedelta

import pytest

from studio.actions.keys import ScopeBeyondRole, issue_key, note_use, revoke_key
from studio.kernel.errors import Invalid, NotFound
from studio.kernel.secrets import digest, well_formed
from studio.models import ApiKey, HistoryEntry, Scope
from tests.conftest import NOW

pytestmark = pytest.mark.django_db


def test_a_key_keeps_the_digest_of_its_secret_and_not_the_secret(maker):
    key, secret = issue_key(by=maker, name=" bench ", scope="write", at=NOW)
    assert well_formed(secret)
    assert (key.member, key.name, key.scope, key.digest) == (maker, "bench", "write", digest(secret))
    assert secret.startswith(key.prefix)
    assert len(key.prefix) == 12
    assert all(secret not in str(value) for value in ApiKey.objects.filter(pk=key.pk).values_list()[0])


@pytest.mark.parametrize(
    ("role", "scopes"),
    [("reader", {"read"}), ("maker", {"read", "write"}), ("owner", {"read", "write", "admin"})],
)
def test_a_key_reaches_no_further_than_its_member(owner, new_member, role, scopes):
    member = owner if role == "owner" else new_member(owner, role)
    for scope in Scope.values:
        if scope in scopes:
            issue_key(by=member, name="x", scope=scope, at=NOW)
        else:
            with pytest.raises(ScopeBeyondRole):
                issue_key(by=member, name="x", scope=scope, at=NOW)


def test_every_fault_of_a_key_is_told_at_once(maker):
    with pytest.raises(Invalid) as caught:
        issue_key(by=maker, name=" ", scope="root", at=NOW, expires_at=NOW)
    assert set(caught.value.errors) == {"name", "scope", "expires_at"}


def test_revoking_is_noted_once_and_with_its_reason(maker):
    key, _ = issue_key(by=maker, name="x", scope="read", at=NOW)
    revoke_key(by=maker, at=NOW, key_id=key.pk, why="lost")
    again = revoke_key(by=maker, at=NOW + timedelta(days=1), key_id=key.pk)
    assert again.revoked_at == NOW
    entries = HistoryEntry.objects.filter(subject="key", name=key.prefix, verb="revoked")
    assert [entry.why for entry in entries] == ["lost"]


def test_an_owner_revokes_any_key_of_the_studio_and_a_maker_only_their_own(owner, maker, stranger):
    of_maker, _ = issue_key(by=maker, name="x", scope="read", at=NOW)
    of_owner, _ = issue_key(by=owner, name="x", scope="read", at=NOW)
    of_stranger, _ = issue_key(by=stranger, name="x", scope="read", at=NOW)
    for by, key in ((maker, of_owner), (maker, of_stranger), (owner, of_stranger)):
        with pytest.raises(NotFound):
            revoke_key(by=by, at=NOW, key_id=key.pk)
    assert revoke_key(by=owner, at=NOW, key_id=of_maker.pk).revoked_at == NOW


def test_use_is_noted_at_most_once_a_minute(maker, django_assert_num_queries):
    key, _ = issue_key(by=maker, name="x", scope="read", at=NOW)
    note_use(key=key, at=NOW)
    key.refresh_from_db()
    with django_assert_num_queries(0):
        note_use(key=key, at=NOW + timedelta(seconds=59))
    note_use(key=key, at=NOW + timedelta(seconds=61))
    key.refresh_from_db()
    assert key.last_used_at == NOW + timedelta(seconds=61)


def test_of_two_that_note_at_once_the_first_note_stays(maker):
    key, _ = issue_key(by=maker, name="x", scope="read", at=NOW)
    note_use(key=key, at=NOW)
    note_use(key=key, at=NOW + timedelta(seconds=5))
    key.refresh_from_db()
    assert key.last_used_at == NOW
