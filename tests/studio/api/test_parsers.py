"""Bodies that are not quite JSON."""

import json
from decimal import Decimal

import pytest

from studio.api.parsers import UnreadableBody, read_json

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.api.example")]


def deep(levels):
    return b"[" * levels + b"]" * levels


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"{", "not JSON"),
        (b"", "not JSON"),
        (b'{"a": 1} x', "not JSON"),
        (b"{'a': 1}", "line 1, column 2"),
        (b'{"a": NaN}', "NaN"),
        (b'{"a": -Infinity}', "-Infinity"),
        (b'{"a": 1, "a": 1}', "“a” twice"),
        (b'{"a": {"b": 1, "b": 2}}', "“b” twice"),
        (b'{"a": "\xff"}', "byte 8"),
        ('{"a": "é"}'.encode("latin-1"), "byte 8"),
        ('{"a": 1}'.encode("utf-16"), "not UTF-8"),
        (b'{"a": "x\\u0000"}', "NUL"),
        (b'{"a\\u0000": 1}', "NUL"),
        (b'{"a": ["\\ud800"]}', "half a pair"),
        (b'{"a": "\x00"}', "not JSON"),
        (b'{"a": ' + b"9" * 61 + b"}", "60 characters"),
        (b'{"a": 0.' + b"1" * 60 + b"}", "60 characters"),
        (deep(18), "deeper than 16"),
        (deep(100_000), "deeper than 16"),
    ],
)
def test_a_body_that_is_not_strict_json_is_refused_with_what_is_wrong(body, said):
    with pytest.raises(UnreadableBody, match=said):
        read_json(body)


def test_numbers_are_read_exactly():
    read = read_json(b'{"a": 0.1, "b": 1e2, "c": 12345678901234567890, "d": -0.0}')
    assert read == {
        "a": Decimal("0.1"),
        "b": Decimal("1E+2"),
        "c": 12345678901234567890,
        "d": Decimal("-0.0"),
    }
    assert [type(value) for value in read.values()] == [Decimal, Decimal, int, Decimal]


def test_a_whole_pair_of_surrogates_is_a_character():
    assert read_json(b'{"a": "\\ud83c\\udf38"}') == {"a": "\N{CHERRY BLOSSOM}"}


def test_nesting_up_to_the_limit_is_read():
    assert read_json(deep(16)) == json.loads(deep(16))


@pytest.mark.parametrize("body", [b"[]", b'"a"', b"1", b"null", b"true"])
def test_only_an_object_is_a_body(api, body):
    answer = api.post("everything/", body)
    assert answer.status_code == 400
    assert answer.json()["type"] == "/problems/unreadable-body"


def test_no_body_at_all_is_an_empty_object(api):
    assert api.call("POST", "everything/").json() == {}


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "text/csv"]
)
def test_another_kind_of_body_is_not_read(api, kind):
    answer = api.post("everything/", b"mass=1", content_type=kind)
    assert answer.status_code == 415
    assert answer.json()["type"] == "/problems/media-unknown"


def test_a_sheet_is_read_as_its_bytes(api):
    assert api.post("sheet/", b"\xff\x00a,b", content_type="text/csv").json() == {"bytes": 5}


def test_a_body_that_is_too_large_is_refused(api, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    for body, kind in ((b'{"name": "' + b"a" * 200 + b'"}', "application/json"), (b"a" * 200, "text/csv")):
        for headers in ({}, {"key": "k"}):
            address = "everything/" if kind == "application/json" else "sheet/"
            answer = api.post(address, body, content_type=kind, **headers)
            assert answer.status_code == 413
            assert answer.json()["type"] == "/problems/too-large"
