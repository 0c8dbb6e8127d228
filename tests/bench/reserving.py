"""Rows of reserving: twelve lots, one of them wanted by all, by one client and by many."""

import http.client
import json
import random
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from batches.actions.reserving import reserve_batch
from batches.models import Batch, BatchKind, BatchLine
from inventory.models import Lot, LotKind
from studio.actions.running import next_numbers
from studio.kernel.mass import MICROGRAM
from studio.kernel.work import work
from tests.bench.crowd import milliseconds_each, shared_out
from tests.bench.scene import Scene
from tests.bench.served import served
from tests.bench.table import Row

LOTS = 12
CLIENTS = (1, 8, 32)
EACH, ROUNDS = 32, 3


def reserve(scene: Scene) -> list[Row]:
    """P5, by the action and over HTTP."""
    return [*(_by_action(scene, clients) for clients in CLIENTS), _over_http(scene)]


def _by_action(scene: Scene, clients: int) -> Row:
    def ours(numbers: Sequence[str]) -> None:
        for number in numbers:
            reserve_batch(by=scene.by, now=timezone.now(), number=number)

    def floor(numbers: Sequence[str]) -> None:
        for number in numbers:
            _reserve_bare(scene.by.studio_id, scene.by.pk, number)

    floors, mine = [], []
    for _ in range(ROUNDS):
        floors.append(milliseconds_each(floor, shared_out(_drafts(scene, EACH), clients)))
        mine.append(milliseconds_each(ours, shared_out(_drafts(scene, EACH), clients)))
    what = f"reserve {LOTS} lots, one wanted by all, {clients} client{'s' if clients > 1 else ''}, action"
    return Row("P5", what, "the same locks, checks and writes, bare SQL", floors, mine, 1.7)


def _over_http(scene: Scene) -> Row:
    """Against the rate at which the framework alone creates rows."""
    floor_body = json.dumps(bare_weighing(scene)).encode()
    headers = {"Authorization": f"Bearer {scene.secret}", "Content-Type": "application/json"}
    with served(workers=2) as server:

        def ours(numbers: Sequence[str]) -> None:
            http_client = http.client.HTTPConnection("127.0.0.1", server.port)
            for number in numbers:
                post(http_client, f"/api/v1/batches/{number}/reserve/", b"{}", headers, 200)

        def floor(numbers: Sequence[str]) -> None:
            http_client = http.client.HTTPConnection("127.0.0.1", server.port)
            for _ in numbers:
                post(http_client, "/floor/weighings/", floor_body, headers, 201)

        floors, mine = [], []
        for _ in range(ROUNDS):
            drafts = _drafts(scene, EACH)
            floors.append(milliseconds_each(floor, shared_out(drafts, 8)))
            mine.append(milliseconds_each(ours, shared_out(drafts, 8)))
    return Row("P5", "reserve over HTTP, 8 clients", "bare DRF create, same server", floors, mine, 2)


def post(
    connection: http.client.HTTPConnection, path: str, body: bytes, headers: dict[str, str], expected: int
) -> None:
    """One POST on an open connection; anything but the expected answer is no measurement."""
    connection.request("POST", path, body, headers)
    answer = connection.getresponse()
    told = answer.read()
    if answer.status != expected:
        raise RuntimeError(f"{path} answers {answer.status}: {told[:400]!r}")


def bare_weighing(scene: Scene) -> dict[str, Any]:
    """The body by which the framework alone creates a weighing."""
    line = BatchLine.objects.filter(batch__number=scene.weighing).order_by("position")[0]
    now = datetime.now(UTC).isoformat()
    return {
        "studio": line.studio_id, "batch": line.batch_id, "line": line.pk, "lot": line.lot_id, "mass": 1, "mass_u": 1,
        "lot_revision": 0, "lot_concentration": "1", "source": "typed", "at": now, "recorded_at": now,
        "by": scene.by.pk,
    }  # fmt: skip


def _drafts(scene: Scene, count: int) -> list[str]:
    """Planned batches of a microgram from each of twelve lasting bottles, the first of which all of them want."""
    rng = random.Random(count)
    bottles = list(
        Lot.objects.of(scene.by.studio).filter(kind=LotKind.BOTTLE, on_hand__gt=1000).order_by("id")
    )
    usual = Batch.objects.get(number=scene.draft)
    now = timezone.now()
    with work():
        numbers = next_numbers(studio=scene.by.studio, sort="batch", year=now.year, count=count)
        batches = Batch.objects.bulk_create(
            Batch(
                studio=scene.by.studio, number=number, kind=BatchKind.BLEND, title="Trial", version=usual.version,
                mass=LOTS * MICROGRAM, tolerance=usual.tolerance, balance=usual.balance, by=scene.by, created_at=now,
            )
            for number in numbers
        )  # fmt: skip
        BatchLine.objects.bulk_create(
            BatchLine(
                studio=scene.by.studio, batch=batch, position=place, material_id=lot.material_id, lot=lot,
                planned=MICROGRAM, target=MICROGRAM,
            )
            for batch in batches
            for place, lot in enumerate([bottles[0], *rng.sample(bottles[1:], LOTS - 1)], start=1)
        )  # fmt: skip
    return numbers


def _reserve_bare(studio: int, by: int, number: str) -> None:
    """Locks, checks and writes of reserving, and nothing else."""
    now = timezone.now()
    with transaction.atomic(), connection.cursor() as cursor:
        lock = "FOR NO KEY UPDATE" if connection.vendor == "postgresql" else ""
        cursor.execute(
            f"SELECT id, state FROM batches_batch WHERE studio_id = %s AND number = %s {lock}",
            [studio, number],
        )
        batch, state = cursor.fetchone()
        assert state == "draft"
        cursor.execute(
            "SELECT lot_id, target FROM batches_batchline WHERE batch_id = %s ORDER BY position", [batch]
        )
        wants: dict[int, int] = {}
        for lot, target in cursor.fetchall():
            wants[lot] = wants.get(lot, 0) + target
        marks = ", ".join(["%s"] * len(wants))
        cursor.execute(
            f"SELECT id, on_hand - reserved, held_at, expires_on FROM inventory_lot WHERE id IN ({marks}) "
            f"ORDER BY id {lock}",
            list(wants),
        )
        assert all(free >= wants[lot] and held is None for lot, free, held, _ in cursor.fetchall())
        pairs = [value for pair in wants.items() for value in pair]
        rows = ", ".join(["(%s, %s)"] * len(wants))
        cursor.execute(
            "UPDATE inventory_lot SET reserved = reserved + change.column2, edition = edition + 1 "
            f"FROM (VALUES {rows}) AS change WHERE inventory_lot.id = change.column1",
            pairs,
        )
        claims = [(studio, lot, mass, mass, number, now, now, by) for lot, mass in sorted(wants.items())]
        marks = ", ".join(["(%s, %s, %s, 0, %s, 0, 'open', %s, %s, %s, %s, '')"] * len(claims))
        cursor.execute(
            "INSERT INTO inventory_claim (studio_id, lot_id, asked, poured, mass, settled, state, purpose, made_at, "
            f"touched_at, by_id, ended_why) VALUES {marks}",
            [value for claim in claims for value in claim],
        )
        cursor.execute(
            "UPDATE batches_batch SET state = 'reserved', reserved_at = %s, edition = edition + 1 WHERE id = %s",
            [now, batch],
        )
        cursor.execute(
            "INSERT INTO studio_historyentry (studio_id, at, by_id, subject, name, verb, changes, why) "
            "VALUES (%s, %s, %s, 'batch', %s, 'reserved', '{}', '')",
            [studio, now, by, number],
        )


ROWS = {"P5": reserve}
