"""A body with something wrong in it is refused by sentences that name every fault, and nothing of it is done.

The bad values are drawn from the description for every field of every operation, so a new one is tried like the rest.
"""

from typing import Any

import pytest
from django.db import transaction

from tests.api.contract import CheckedApi, Operation, of_floors
from tests.api.fingerprint import changed, fingerprint
from tests.api.junk import ANY_LETTERS, Spoiled, changed_at, fields_of, odd, spoiled, written
from tests.api.shares import share
from tests.api.world import World

NOTED = {"batches_sign": {"studio_historyentry"}}
"""Where a refusal is noted on purpose: a wrong password."""
WITH_BODY = [one for one in of_floors() if one.body is not None]


@pytest.mark.parametrize("operation", WITH_BODY, ids=str)
def test_what_a_schema_excludes_is_refused_and_every_field_named(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    faults = []
    for body in world.bodies(operation):
        for one in share(spoiled(operation.body, body), operation.place, 4):
            answer = tried(api, operation, world, one)
            if answer.status_code != 400:
                faults.append(f"{one}: {answer.status_code} {answer.content[:200]!r}")
                continue
            named = [f"{name}." for name in answer.json().get("errors", {})]
            silent = [name for name in one.values if not any(told.startswith(f"{name}.") for told in named)]
            if silent:
                faults.append(f"{one}: nothing is said of {silent}")
    assert not faults, f"{len(faults)} of {operation}:\n" + "\n".join(faults)
    assert changed(before) == []


@pytest.mark.parametrize("operation", WITH_BODY, ids=str)
def test_what_only_the_studio_can_judge_is_taken_or_refused_and_never_breaks(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    for body in world.bodies(operation):
        for one in share(odd(operation.body, body), operation.place, 4):
            answer = tried(api, operation, world, one)
            assert answer.status_code < 500, f"{one}: {answer.content[:200]!r}"
    assert set(changed(before)) <= NOTED.get(operation.name, set())


@pytest.mark.parametrize("operation", WITH_BODY, ids=str)
def test_any_letters_are_taken_in_a_text(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    for body in world.bodies(operation):
        texts = [field for field in fields_of(operation.body, body) if field.is_text]
        for field in texts:
            body = changed_at(body, field.where, ANY_LETTERS)
        answer = tried(api, operation, world, Spoiled({}, written(body)))
        assert answer.status_code < 300, answer.content.decode()


def tried(api: CheckedApi, operation: Operation, world: World, one: Spoiled) -> Any:
    """The answer to a body; what was taken is undone."""
    headers = {} if operation.method == "POST" else {"if_match": "*"}
    with transaction.atomic():
        answer = api.call(operation.method, world.address(operation), one.body, **headers)
        if answer.status_code < 300:
            transaction.set_rollback(True)
    return answer
