"""The history: values that JSON can hold, and only what truly changed."""

import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

from studio.actions.history import differences, record


def test_only_what_differs_is_a_difference():
    before = {"mass": Decimal("1.0"), "note": "a", "shelf": None}
    after = {"mass": Decimal("1.00"), "note": "b", "shelf": None}
    assert differences(before, after) == {"note": ["a", "b"]}


def test_a_field_that_was_not_there_was_nothing():
    assert differences({}, {"note": "b", "shelf": None}) == {"note": [None, "b"]}


def test_differences_can_be_written_as_json_whatever_the_values(studio):
    after = {
        "mass": Decimal("2.500000"),
        "small": Decimal("1E-9"),
        "day": date(2026, 3, 1),
        "moment": datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=1))),
        "studio": studio,
        "hazards": ["H317", Decimal("0.1")],
        "nested": {"a": Decimal("1.10")},
        "yes": True,
        "count": 3,
    }
    found = differences({}, after)
    assert json.loads(json.dumps(found)) == found
    assert {field: pair[1] for field, pair in found.items()} == {
        "mass": "2.500000",
        "small": "0.000000001",
        "day": "2026-03-01",
        "moment": "2026-03-01T09:30:00Z",
        "studio": studio.name,
        "hazards": ["H317", "0.1"],
        "nested": {"a": "1.10"},
        "yes": True,
        "count": 3,
    }


def test_an_entry_says_who_when_what_and_why(maker):
    at = datetime(2026, 3, 2, tzinfo=UTC)
    entry = record(
        by=maker,
        at=at,
        subject="lot",
        name="26-0001-X",
        verb="held",
        changes={"held": [False, True]},
        why="odd",
    )
    entry.refresh_from_db()
    assert (entry.studio_id, entry.by, entry.at) == (maker.studio_id, maker, at)
    assert (entry.subject, entry.name, entry.verb, entry.why) == ("lot", "26-0001-X", "held", "odd")
    assert entry.changes == {"held": [False, True]}
