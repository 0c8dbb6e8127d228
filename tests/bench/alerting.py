"""The row of the regular look for causes: half of the open lots are due, and every alert is new."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from uuid import uuid4

from django.db import connection, transaction
from django.utils import timezone

from inventory.models import Lot
from studio.jobs import look_after
from studio.models import Alert
from tests.bench.scene import Scene
from tests.bench.table import Row, milliseconds, statements_of

RUNS = 5
MOST_DUE = 5_000
AT_ONCE = 1_000


def alerts(scene: Scene) -> list[Row]:
    """P11. Between the runs all alerts are taken away, outside the clock; statements are those for all of them."""
    opened = Lot.objects.of(scene.by.studio).filter(emptied_at=None).order_by("id")
    count = opened.count()
    due = list(opened[: min(MOST_DUE, count // 2)])
    floors, mine = [], []
    with _due(due), _none_kept():
        for _ in range(RUNS + 1):
            Alert.objects.all().delete()
            floors.append(milliseconds(lambda: _bare(scene)))
            Alert.objects.all().delete()
            mine.append(milliseconds(lambda: look_after(scene.by.studio_id)))
        raised = Alert.objects.of(scene.by.studio).filter(kind="expiring").count()
        assert raised >= len(due), f"{raised} alerts for {len(due)} lots"
        Alert.objects.all().delete()
        statements = statements_of(lambda: look_after(scene.by.studio_id))
    what = f"alerts over {count:,} open lots, {len(due):,} due"
    floor_is = "the lots read, the alerts inserted, bare SQL"
    return [Row("P11", what, floor_is, floors[1:], mine[1:], 3, statements)]


@contextmanager
def _due(lots: list[Lot]) -> Iterator[None]:
    """Let these lots be due in a few days, and give them back the days they had."""
    days = {lot.pk: lot.expires_on for lot in lots}
    Lot.objects.filter(pk__in=days).update(expires_on=timezone.now().date() + timedelta(days=3))
    try:
        yield
    finally:
        for lot in lots:
            lot.expires_on = days[lot.pk]
        Lot.objects.bulk_update(lots, ["expires_on"], batch_size=AT_ONCE)


@contextmanager
def _none_kept() -> Iterator[None]:
    try:
        yield
    finally:
        Alert.objects.all().delete()


def _bare(scene: Scene) -> None:
    now = timezone.now()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, number, title, expires_on, on_hand FROM inventory_lot WHERE studio_id = %s "
            "AND emptied_at IS NULL AND expires_on <= %s ORDER BY expires_on, id",
            [scene.by.studio_id, now.date() + timedelta(days=30)],
        )
        together = uuid4().hex if connection.vendor == "sqlite" else uuid4()
        rows = [
            (scene.by.studio_id, "expiring", str(lot), "lot", number, f"{title} expires on {day}.", 2, day,
             json.dumps({"on_hand": str(on_hand)}), now, now, together)
            for lot, number, title, day, on_hand in cursor.fetchall()
        ]  # fmt: skip
        for start in range(0, len(rows), AT_ONCE):
            some = rows[start : start + AT_ONCE]
            marks = ", ".join([f"({', '.join(['%s'] * 12)})"] * len(some))
            cursor.execute(
                "INSERT INTO studio_alert (studio_id, kind, key, subject, name, sentence, urgency, due_on, details, "
                f"since, seen_at, raised_in) VALUES {marks}",
                [value for row in some for value in row],
            )


ROWS = {"P11": alerts}
