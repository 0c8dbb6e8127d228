"""A record that was kept as plain JSON comes back equal."""

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.kernel.plain_records import from_plain, to_plain


@dataclass(frozen=True, slots=True)
class Inner:
    share: Decimal
    until: date | None
    seen: datetime | None


@dataclass(frozen=True, slots=True)
class Outer:
    name: str
    count: int | None
    held: bool
    inner: Inner | None
    parts: tuple[Inner, ...]
    words: tuple[str, ...]


inners = st.builds(
    Inner,
    share=st.decimals(allow_nan=False, allow_infinity=False),
    until=st.none() | st.dates(),
    seen=st.none() | st.datetimes(timezones=st.just(UTC)),
)
outers = st.builds(
    Outer,
    name=st.text(),
    count=st.none() | st.integers(),
    held=st.booleans(),
    inner=st.none() | inners,
    parts=st.lists(inners).map(tuple),
    words=st.lists(st.text()).map(tuple),
)


@settings(deadline=None)
@given(outers)
def test_a_record_comes_back_equal(record):
    assert from_plain(Outer, json.loads(json.dumps(to_plain(record)))) == record


def test_a_moment_of_another_zone_comes_back_as_the_same_moment():
    at = datetime.fromisoformat("2026-03-01T10:30:00+01:00")
    assert to_plain(at) == "2026-03-01T09:30:00+00:00"


def test_what_no_record_is_made_of_is_refused():
    with pytest.raises(TypeError):
        to_plain(1.5)
