"""Who may do what: every address of the description × every method × everybody who could ask.

Nothing is listed that the description tells. An operation that is new is expected to be open to owners and makers and,
if it only reads, to readers; to no read key if it writes; and to nobody whose key has ended or who belongs elsewhere. One
that is meant otherwise has to say so here.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

import pytest
from django.db import transaction
from django.utils import timezone

from studio.actions.keys import revoke_key
from studio.actions.studios import add_member
from studio.kernel.secrets import new_secret
from studio.models import ApiKey, Member
from tests.api.contract import CheckedApi, Operation, operations
from tests.api.fingerprint import changed, fingerprint
from tests.api.world import World
from tests.client import Api
from tests.conftest import NOW, PASSWORD

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
BY_PATH: dict[str, dict[str, Operation]] = {}
for _one in operations():
    BY_PATH.setdefault(_one.path, {})[_one.method] = _one

FAULTS_FIRST = {"formulas_versions_update"}
"""Looks at the lines, which name materials, before it looks for the formula; materials of others are unknown."""
HARMLESS = {"stock_routes", "grids_layout"}
"""Asked by POST for the size of the question; they write nothing, and so are open to readers."""
ONES_OWN = {"keys_create", "keys_revoke", "alert_mail_partial_update"}
"""What everybody decides for themselves, readers included."""
FOR_ADMIN_KEYS = {
    "studio_partial_update",
    "keys_create",
    "keys_revoke",
    "members_role",
    "members_remove",
    "members_hand_over",
    "invitations_create",
    "invitations_withdraw",
    "webhooks_create",
    "webhooks_renew",
    "webhooks_try",
    "webhooks_end",
}
"""What changes who gets in and what the studio has chosen: not with a key that only writes."""
FOR_OWNERS = FOR_ADMIN_KEYS - ONES_OWN
OWNERS_EYES = {"webhooks_list", "webhooks_retrieve", "webhooks_deliveries_list", "studio_export_retrieve"}
"""Read by owners only: an address can hold what others should not know, and an export holds everything."""
NOT_THEIRS = {
    f"/problems/{code}"
    for code in (
        "not-the-keeper",
        "not-the-asker",
        "not-sitting",
        "not-your-panel",
        "looks-from-within",
        "not-your-strip",
        "not-your-note",
        "not-your-set",
        "knows-the-codes",
    )
}
"""What makers are refused who ask for what another member decides."""
OF_ONE_MEMBER = {"keys_retrieve", "keys_revoke"}
"""Of what is one member's own; to others it is not there."""


@dataclass(frozen=True)
class Asker:
    """Somebody who asks: as which role, with a key of which scope or by the session of the pages."""

    role: str
    scope: str
    api: Api

    def __str__(self) -> str:
        return f"{self.role}, {self.scope}"


def expected(operation: Operation, asker: Asker) -> str:
    """How `asker` is answered: `yes`, or by which refusal."""
    name, role = operation.name, asker.role
    if not operation.writes or name in HARMLESS:
        return "owners-only" if name in OWNERS_EYES and role != "owner" else "yes"
    if role == "reader" and name not in ONES_OWN:
        return "readers-only-read"
    if asker.scope == "read" or (asker.scope == "write" and name in FOR_ADMIN_KEYS):
        return "key-scope-too-small"
    return "owners-only" if name in FOR_OWNERS and role != "owner" else "yes"


@pytest.fixture(scope="module")
def askers(shared_world: World) -> list[Asker]:
    """Everybody who belongs here, in every way they can ask."""
    people = {"owner": shared_world.owner, "maker": shared_world.maker, "reader": shared_world.reader}
    reach = {"owner": ("read", "write", "admin"), "maker": ("read", "write"), "reader": ("read",)}
    keys = [
        Asker(role, scope, Api(secret_of(people[role], scope))) for role in people for scope in reach[role]
    ]
    return keys + [Asker(role, "session", by_session(member)) for role, member in people.items()]


@pytest.fixture(scope="module")
def shut_out(shared_world: World) -> dict[str, Api]:
    """Everybody who gets in nowhere, by the reason."""
    owner = shared_world.owner
    gone = add_member(
        by=owner, name="Gone", email="gone@example.org", password=PASSWORD, role="maker", at=NOW
    )
    left, of_left = by_session(gone), secret_of(gone, "write")
    Member.objects.filter(pk=gone.pk).update(left_at=NOW)
    revoked = secret_of(owner, "admin")
    revoke_key(by=owner, at=NOW, key_id=newest_key(owner).pk)
    expired = secret_of(owner, "admin")
    ApiKey.objects.filter(pk=newest_key(owner).pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    secrets = {"revoked": revoked, "expired": expired, "of one who left": of_left, "unknown": new_secret()}
    keys = {why: Api(secret) for why, secret in secrets.items()}
    cut = {"cut off": Api("still_nonsense"), "overlong": Api("x" * 300)}
    return {"nobody": CheckedApi(None), "session of one who left": left} | keys | cut


@pytest.fixture(scope="module")
def own_key(shared_world: World) -> str:
    """The id of a key of the owner that is not used here."""
    secret_of(shared_world.owner, "read")
    return str(newest_key(shared_world.owner).pk)


@pytest.fixture(scope="module")
def elsewhere(opened: None) -> list[Asker]:
    """The owner of another studio, by key and by session."""
    from studio.actions.studios import found_studio

    stranger = found_studio(
        name="elsewhere", owner_name="Eve", email="eve@example.org", password=PASSWORD, at=NOW
    )
    return [
        Asker("stranger", "admin", CheckedApi(secret_of(stranger, "admin"))),
        Asker("stranger", "session", by_session(stranger)),
    ]


def secret_of(member: Member, scope: str) -> str:
    from studio.actions.keys import issue_key

    return issue_key(by=member, name="test", scope=scope, at=NOW)[1]


def newest_key(member: Member) -> ApiKey:
    return ApiKey.objects.filter(member=member).order_by("-id")[0]


def by_session(member: Member) -> Api:
    api = Api(None)
    api.client.force_login(member.person)
    return api


def address_of(world: World, operation: Operation, own_key: str) -> str:
    place = world.place(operation) if operation.tag != "keys" else {"id": own_key}
    query = urlencode(world.query(operation)) if operation.needs_a_query else ""
    return f"{operation.path.format(**place)}?{query}"


Ask = Callable[[Api], Any]


def sound_request(operation: Operation, world: World, own_key: str) -> Ask:
    """A sound request of an operation, to be asked by anybody."""
    address = address_of(world, operation, own_key)
    body: Any = next(world.bodies(operation), None)
    headers: Mapping[str, Any] = {"if_match": "*"} if operation.writes else {}
    if operation.reads_sheet:
        body, headers = b"name\nx\n", {"content_type": "text/csv"}
    return lambda api: api.call(operation.method, address, body, **headers)


@pytest.mark.parametrize("operation", operations(), ids=str)
def test_everybody_gets_what_is_theirs_and_no_more(
    operation: Operation,
    world: World,
    own_key: str,
    askers: list[Asker],
    shut_out: Mapping[str, Api],
    elsewhere: list[Asker],
) -> None:
    ask = sound_request(operation, world, own_key)
    before = fingerprint()
    wrong: list[str] = []
    for why, api in shut_out.items():
        answer = ask(api)
        if answer.status_code != 401 or not answer["WWW-Authenticate"].startswith("Bearer"):
            wrong.append(f"{why}: {answer.status_code}")
    if operation.things:
        nothing_there = 400 if operation.name in FAULTS_FIRST else 404
        wrong += [f"{one}: found" for one in elsewhere if ask(one.api).status_code != nothing_there]
    told = {asker: expected(operation, asker) for asker in askers}
    for asker in askers:
        if told[asker] != "yes":
            wrong += faults(asker, ask(asker.api), told[asker])
    assert changed(before) == []
    for asker in least_of([asker for asker in askers if told[asker] == "yes"]):
        with transaction.atomic():
            wrong += refusals(operation, asker, ask(asker.api))
            transaction.set_rollback(True)
    assert wrong == []


def least_of(allowed: list[Asker]) -> list[Asker]:
    """Of every role the key that reaches least, and the session of the role that may least: who stands for the others."""
    keys = {asker.role: asker for asker in reversed(allowed) if asker.scope != "session"}
    return [*keys.values(), *[asker for asker in allowed if asker.scope == "session"][-1:]]


@pytest.mark.parametrize("path", BY_PATH, ids=lambda path: path.removeprefix("/api/v1/"))
def test_no_other_method_gets_anybody_further(
    path: str, world: World, own_key: str, askers: list[Asker], elsewhere: list[Asker]
) -> None:
    described = BY_PATH[path]
    address = address_of(world, next(iter(described.values())), own_key)
    owner = next(asker.api for asker in askers if str(asker) == "owner, admin")
    before = fingerprint()
    for method in set(METHODS) - set(described):
        assert owner.call(method, address, {}, if_match="*").status_code == 405
        assert CheckedApi(None).call(method, address, {}).status_code in (401, 405)
    if "GET" in described:
        assert CheckedApi(None).call("HEAD", address).status_code == 401
        theirs = elsewhere[0].api.call("HEAD", address)
        assert theirs.status_code in (
            {404} if described["GET"].things else {200, 404} if "?" in address.rstrip("?") else {200}
        )
    assert changed(before) == []


def faults(asker: Asker, answer: Any, told: str) -> Iterator[str]:
    """What is not as it should be about a refusal."""
    if answer.status_code != 403 or answer.json()["type"] != f"/problems/{told}":
        yield f"{asker}: {answer.status_code}, not {told}"


def refusals(operation: Operation, asker: Asker, answer: Any) -> Iterator[str]:
    """That somebody was kept from what is open to them; what is another member's own is not there for them."""
    if operation.name in OF_ONE_MEMBER and asker.role != "owner":
        if answer.status_code != 404:
            yield f"{operation.name}, {asker}: {answer.status_code}, though it is another's"
        return
    if answer.status_code == 403 and asker.role == "maker" and answer.json()["type"] in NOT_THEIRS:
        return
    fits = answer.status_code < 300 if not operation.writes else answer.status_code not in (401, 403, 500)
    if not fits:
        yield f"{operation.name}, {asker}: {answer.status_code} {answer.content[:200]!r}"
