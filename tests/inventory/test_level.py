"""What happened to a lot, read back from what it holds now."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.actions.counting import discard
from inventory.models import Lot
from inventory.queries import level
from inventory.queries.level import past_of
from tests.workbench import Workbench

pytestmark = pytest.mark.django_db


def spilled(bench: Workbench) -> Lot:
    """A bottle of ten grams of which a gram was lost three times."""
    number = bench.bottle("linalool 10g").number
    for _ in range(3):
        bench.later(days=1)
        discard(by=bench.by, now=bench.now, number=number, mass=Decimal(1), why="spilled")
    return Lot.objects.of(bench.by.studio).get(number=number)


def test_every_level_is_told_in_order_and_the_latest_changes_newest_first(bench: Workbench) -> None:
    past = past_of(spilled(bench), latest=2)
    assert [one.mass for one in past.levels] == [10, 9, 8, 7]
    assert [(one.change, one.held_after) for one in past.changes] == [(-1, 7), (-1, 8)]
    assert (past.older, past.begins_later) == (2, False)


def test_of_a_long_book_only_its_end_is_read_and_that_is_said(
    bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = spilled(bench)
    monkeypatch.setattr(level, "READ_BACK", 2)
    with CaptureQueriesContext(connection) as captured:
        past = past_of(lot, latest=12)
    assert [one.mass for one in past.levels] == [8, 7]
    assert (len(past.changes), past.older, past.begins_later) == (2, 0, True)
    assert "LIMIT 3" in captured[0]["sql"]
