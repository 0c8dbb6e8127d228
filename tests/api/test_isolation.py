"""What another studio has is not there: in an address, in a body, in a filter it is answered like what never was.

The two studios hold the same things under numbers and ids of their own, so whatever crosses over shows.
"""

import json
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

import pytest
from django.db import transaction

from studio.api.ids import IdField
from studio.kernel.numbers import compose
from tests.api.contract import CheckedApi, Operation, of_floors, resolved
from tests.api.fingerprint import changed, fingerprint
from tests.api.junk import changed_at, fields_of
from tests.api.world import World

OPERATIONS = of_floors()
NO_LOT, NO_BATCH, NO_CODE = compose("lot", 26, 4711), compose("batch", 26, 4711), "never-written"
"""What neither studio has."""
NO_ID = "987654321"
ID_PATTERN = IdField().described("request")["pattern"]
NO_THINGS = {"plan digest", "plan row"}
"""What is kept of no studio, but reckoned from what it has: it names nothing that could be missing."""
ALIASES = {"contains": "material", "made_in": "closed", "batch": "closed"}
"""Filters that name a thing by another word than its own."""


def headers_of(operation: Operation) -> dict[str, str]:
    return {"if_match": "*"} if operation.method in ("PATCH", "PUT", "DELETE") else {}


def missing(value: str) -> str:
    """Something of the same sort as `value` that neither studio has."""
    if value.startswith("B26-"):
        return NO_BATCH
    if value.startswith("26-"):
        return NO_LOT
    return NO_ID if value.isdigit() else NO_CODE


@pytest.fixture
def theirs(strange_world: World) -> World:
    return strange_world


def test_the_two_studios_share_no_number_and_no_id(world: World, theirs: World) -> None:
    for name in (
        "lot",
        "stock",
        "held",
        "draft",
        "reserved",
        "closed",
        "material",
        "shelf",
        "balance",
        "formula",
    ):
        assert world.names[name] != theirs.names[name]


@pytest.mark.parametrize("operation", [one for one in OPERATIONS if one.things], ids=str)
def test_an_address_of_another_studio_answers_like_one_of_nothing(
    operation: Operation, world: World, theirs: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    place, strange = world.place(operation), theirs.place(operation)
    for body in list(world.bodies(operation)) or [None]:
        for name, value in strange.items():
            if value == place[name]:
                continue
            there = asked(api, operation, {**place, name: value}, body)
            nowhere = asked(api, operation, {**place, name: missing(value)}, body)
            assert there.status_code == nowhere.status_code == 404, (name, there.content[:200])
            assert blind(there, value) == blind(nowhere, missing(value))
    assert changed(before) == []


def asked(api: CheckedApi, operation: Operation, place: dict[str, str], body: Any) -> Any:
    return api.call(operation.method, operation.path.format(**place), body, **headers_of(operation))


def blind(answer: Any, value: str) -> Any:
    """What an answer says, with the thing it was asked for left out."""
    return json.loads(re.sub(rf"(?<![\w-]){re.escape(value)}(?![\w-])", "…", answer.content.decode()))


@pytest.mark.parametrize("operation", [one for one in OPERATIONS if one.body is not None], ids=str)
def test_a_thing_of_another_studio_in_a_body_is_refused_like_one_that_is_missing(
    operation: Operation, world: World, theirs: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    for body in world.bodies(operation):
        for where, value in named_things(operation, body, world, theirs):
            there = api.call(
                operation.method,
                world.address(operation),
                changed_at(body, where, value),
                **headers_of(operation),
            )
            none = missing(value)
            nowhere = api.call(
                operation.method,
                world.address(operation),
                changed_at(body, where, none),
                **headers_of(operation),
            )
            assert there.status_code in (400, 404, 409), (where, there.status_code, there.content[:200])
            # The address is the same both times; ids in it may by chance be those that are left out here.
            told = [
                {**blind(answer, named), "instance": ""}
                for answer, named in ((there, value), (nowhere, none))
            ]
            assert told[0] == told[1], where
    assert changed(before) == []


def named_things(
    operation: Operation, body: Any, world: World, theirs: World
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Where a body names one of our things, with the same thing of the other studio."""
    things = {name: value for name, value in world.names.items() if name not in NO_THINGS}
    ours = {value: name for name, value in things.items() if not str(value).isdigit()}
    for field in fields_of(operation.body, body):
        inner = body
        for step in field.where:
            inner = inner[step] if isinstance(inner, list) or step in inner else None
        name = next(step for step in reversed(field.where) if isinstance(step, str))
        if isinstance(inner, str) and inner in ours:
            yield field.where, theirs.names[ours[inner]]
        elif resolved(field.schema).get("pattern") == ID_PATTERN and inner is not None:
            yield field.where, theirs.names[name]


@pytest.mark.parametrize(
    "operation", [one for one in OPERATIONS if one.method == "GET" and one.parameters("query")], ids=str
)
def test_a_thing_of_another_studio_in_a_filter_finds_nothing(
    operation: Operation, world: World, theirs: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    named = {name: name for name in operation.parameters("query") if name in world.names}
    named |= {name: ALIASES[name] for name in operation.parameters("query") if name in ALIASES}
    for name, thing in named.items():
        value = theirs.names[thing]
        there = api.get(f"{address}?{urlencode({name: value})}")
        nowhere = api.get(f"{address}?{urlencode({name: missing(value)})}")
        assert blind(there, value) == blind(nowhere, missing(value)), name


# What ethanol and water give reads nothing of any studio.
READING = [one for one in OPERATIONS if one.method == "GET" and one.name != "ethanol_water_retrieve"]


@pytest.mark.parametrize("operation", READING, ids=str)
def test_nothing_that_is_read_names_the_other_studio(
    operation: Operation, world: World, theirs: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    for form in [{}, {"format": "csv"}] if operation.is_list else [{}]:
        query = {**(world.query(operation) if operation.needs_a_query else {}), **form}
        answer = api.get(f"{world.address(operation)}?{urlencode(query)}")
        text = b"".join(answer.streaming_content) if answer.streaming else answer.content
        assert answer.status_code == 200
        for name in ("lot", "stock", "held", "made", "draft", "closed", "code"):
            assert theirs.names[name].encode() not in text


def test_an_answer_is_not_repeated_to_another_studio(world: World, theirs: World, client_of: Any) -> None:
    body = {"name": "cellar"}
    ours = client_of(world.owner).post("shelves/", body, key="same")
    with transaction.atomic():
        answer = client_of(theirs.owner).post("shelves/", body, key="same")
        assert answer.status_code == 201
        assert "Idempotent-Replay" not in answer
        assert answer.json()["id"] != ours.json()["id"]
        transaction.set_rollback(True)
