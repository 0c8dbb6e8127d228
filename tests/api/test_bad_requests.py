"""Bodies that are no JSON object, addresses of nothing, unknown parameters and methods: all refused by a sentence."""

import json
from typing import Any
from urllib.parse import quote, urlencode

import pytest

from tests.api.contract import Operation, as_text, faults_of, of_floors
from tests.api.fingerprint import changed, fingerprint
from tests.api.shares import share
from tests.api.world import World

OPERATIONS = of_floors()
WITH_BODY = [one for one in OPERATIONS if one.body is not None]
ADDRESSED = [one for one in OPERATIONS if one.parameters("path")]
PATHS = sorted({one.path for one in OPERATIONS})

NO_OBJECT = (
    b"null",
    b"[]",
    b'"text"',
    b"1",
    b"{",
    b"{}{}",
    b"{'a': 1}",
    b'{"a": 1,}',
    b'{"a": NaN}',
    b'{"a": 1' + b"0" * 400 + b"}",
    b'{"\xff": 1}',
    b"\xff\xfe{\x00}\x00",
    b'{"note": "a\\u0000b"}',
    b'{"note": "\\ud800"}',
    b'{"note": "a\x00b"}',
    b'{"a":' * 40 + b"1" + b"}" * 40,
    b"[" * 100_000,
)
OTHER_KINDS = (
    "text/plain",
    "application/x-www-form-urlencoded",
    "multipart/form-data",
    "application/xml",
    "json",
)
NOWHERE = (
    "0",
    "-1",
    "9223372036854775808",
    "1" * 400,
    "abc",
    "1.5",
    "%00",
    "%F0%9F%8C%B9",
    "%ED%A0%80",
    "%2e%2e",
    "a%20b",
    "x" * 2000,
    "26-0001-0",
    "B26-0001-0",
    "%D9%A2%D9%A6-0001-B",
)
ODD_QUERIES = (
    "",
    " ",
    "0",
    "-1",
    "1.5",
    "NaN",
    "1e400",
    "9223372036854775808",
    "abc",
    "\0",
    "🌹",
    "x" * 5000,
    "%",
    "03/04/2026",
    "2026-01-01",
    "2026-01-01T00:00:00",
    "9999-12-31T23:59:59-23:00",
    "0001-01-01T00:00:00+23:00",
    "26-0001-0",
    "yes",
    "None",
)


def headers_of(operation: Operation) -> dict[str, str]:
    return {"if_match": "*"} if operation.method in ("PATCH", "PUT", "DELETE") else {}


@pytest.mark.parametrize("operation", WITH_BODY, ids=str)
def test_a_body_that_is_no_sound_object_is_refused(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    sound = next(world.bodies(operation))
    name, value = next(iter(sound.items()), ("why", "x"))
    once = f"{json.dumps(name)}: {json.dumps(value)}"
    twice = f"{{{once}, {once}}}".encode()
    unknown = json.dumps({**sound, f"{name}x": 1}).encode()
    empty = [b""] if operation.body.get("required") else []
    before = fingerprint()
    for body in (*share(NO_OBJECT, operation.place, 6), *empty, twice, unknown):
        answer = api.call(operation.method, world.address(operation), body, **headers_of(operation))
        assert answer.status_code == 400, (body[:60], answer.content[:200])
        if body == unknown:
            assert f"{name}x" in answer.json()["errors"]
    assert changed(before) == []


@pytest.mark.parametrize("operation", [one for one in OPERATIONS if one.method == "POST"], ids=str)
def test_a_body_of_another_kind_is_refused(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    before = fingerprint()
    for kind in (
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "application/xml",
        "json",
    ):
        answer = api.call("POST", world.address(operation), b"name=x", content_type=kind)
        assert answer.status_code == 415, (kind, answer.content[:200])
        assert ("text/csv" if operation.reads_sheet else "application/json") in answer.json()["detail"]
    assert changed(before) == []


@pytest.mark.parametrize("operation", ADDRESSED, ids=str)
def test_an_address_of_nothing_is_refused(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    body = next(world.bodies(operation), None)
    before = fingerprint()
    for name in operation.parameters("path"):
        for text in share(NOWHERE, operation.place, 5):
            address = world.address(operation, **{name: text})
            answer = api.call(operation.method, address, body, **headers_of(operation))
            if answer.status_code == 200 and name == "number" and text == "0001":
                continue
            assert answer.status_code in (400, 404), (address[:80], answer.content[:200])
    assert changed(before) == []


@pytest.mark.parametrize("kind", ["lots", "batches"])
def test_a_mistyped_number_is_met_with_what_was_meant(kind: str, world: World, client_of: Any) -> None:
    number = world.names["lot" if kind == "lots" else "draft"]
    api = client_of(world.owner)
    swapped = number[:-4] + number[-3] + number[-4] + number[-2:]
    for slip in (number[:-1] + ("A" if number[-1] != "A" else "C"), swapped):
        answer = api.get(f"{kind}/{quote(slip)}/")
        assert answer.status_code == 400
        assert number in answer.json()["did_you_mean"]
        assert number in answer.json()["detail"]
    assert api.get(f"{kind}/{number.lower().replace('-', ' ')}/").status_code == 200


@pytest.mark.parametrize("operation", [one for one in OPERATIONS if one.parameters("query")], ids=str)
def test_an_odd_parameter_is_refused_or_understood(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    body = next(world.bodies(operation), None)
    before = fingerprint()
    for place, (name, schema) in enumerate(operation.parameters("query").items(), start=operation.place):
        for text in share(ODD_QUERIES, place, 6):
            address = f"{world.address(operation)}?{urlencode({name: text})}"
            answer = api.call(operation.method, address, body, **headers_of(operation))
            assert answer.status_code in (200, 400, 404, 406, 415), (address[:80], answer.content[:200])
            if answer.status_code == 200 and not answer.streaming:
                assert fits(text, schema), f"{address[:80]} was taken, though it is described as {schema}"
    assert changed(before) == []


def fits(text: str, schema: Any) -> bool:
    """Whether the text form of a parameter is one that its schema describes."""
    forms: list[Any] = [text, [text]]
    if text.lstrip("-").isdigit():
        forms.append(int(text))
    if text in ("true", "false"):
        forms.append(text == "true")
    return any(not faults_of(form, schema) for form in forms)


@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_a_parameter_that_is_unknown_or_there_twice_is_refused(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    body = next(world.bodies(operation), None)
    kind = {"content_type": "text/csv"} if operation.reads_sheet else {}
    known = [
        f"{name}={as_text(value)}&{name}={as_text(value)}"
        for name, value in world.query(operation).items()
        if operation.parameters("query")[name].get("type") != "array"
    ]
    before = fingerprint()
    for query in ("unheard_of=1", *known):
        address = f"{world.address(operation)}?{query}"
        answer = api.call(operation.method, address, body or b"x", **headers_of(operation), **kind)
        assert answer.status_code == 400, (query, answer.content[:200])
        assert answer.json()["type"] == "/problems/unknown-parameter"
    assert changed(before) == []


@pytest.mark.parametrize("path", PATHS)
def test_a_method_that_an_address_does_not_have_is_refused(path: str, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    here = [one for one in OPERATIONS if one.path == path]
    methods = {one.method for one in here}
    before = fingerprint()
    for method in {"GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"} - methods:
        answer = api.call(method, world.address(here[0]), {"why": "x"}, if_match="*")
        assert answer.status_code == 405, (method, answer.content[:200])
        assert {*answer["Allow"].split(", ")} - {"HEAD"} == methods
    assert changed(before) == []
