"""Entity tags: what has not changed is not sent again, and nobody's change is lost under another's."""

from typing import Any
from urllib.parse import urlencode

import pytest

from tests.api.contract import Operation, of_floors
from tests.api.fingerprint import changed, fingerprint
from tests.api.world import World

READS = [one for one in of_floors() if one.method == "GET" and not one.is_list]
CHANGES = [one for one in of_floors() if one.method in ("PATCH", "PUT", "DELETE")]


@pytest.mark.parametrize("operation", READS, ids=str)
def test_what_the_asker_already_has_is_not_sent_again(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    address = f"{world.address(operation)}?{urlencode(world.query(operation))}"
    tag = api.get(address)["ETag"]
    for known in (tag, f'"other", W/{tag}', "*"):
        answer = api.get(address, if_none_match=known)
        assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", tag)
    assert api.get(address, if_none_match='"other"').status_code == 200
    assert api.get(address, if_none_match="other").status_code == 400


@pytest.mark.parametrize("operation", CHANGES, ids=str)
def test_a_change_says_which_edition_it_was_decided_on(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    body = next(world.bodies(operation))
    before = fingerprint()
    for tag, status in (
        (None, 428),
        ('"987654"', 412),
        ('"nonsense"', 412),
        ("nonsense", 400),
        ('"1", "2"', 400),
    ):
        headers = {} if tag is None else {"if_match": tag}
        assert api.call(operation.method, address, body, **headers).status_code == status, tag
    assert changed(before) == []


@pytest.mark.parametrize("operation", CHANGES, ids=str)
def test_the_second_of_two_changes_of_one_edition_is_refused(
    operation: Operation, world: World, client_of: Any
) -> None:
    first, second = client_of(world.owner), client_of(world.maker)
    address = world.address(operation)
    body = next(world.bodies(operation))
    tag = first.get(address)["ETag"]
    assert second.get(address)["ETag"] == tag
    taken = first.call(operation.method, address, body, if_match=tag)
    assert taken.status_code == 200
    before = fingerprint()
    refused = second.call(operation.method, address, body, if_match=tag)
    assert refused.status_code == 412
    assert refused.json()["type"] == "/problems/stale-edition"
    assert changed(before) == []
    assert taken["ETag"] == first.get(address)["ETag"] != tag
    again = second.call(operation.method, address, body, if_match=taken["ETag"])
    assert again.status_code == 200
