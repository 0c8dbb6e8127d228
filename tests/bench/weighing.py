"""The row of logging a weighing over HTTP, by eight clients at once."""

import http.client
import json
from collections.abc import Sequence
from typing import Any

from batches.models import Batch, BatchLine, BatchState
from tests.bench.crowd import milliseconds_each
from tests.bench.reserving import bare_weighing, post
from tests.bench.scene import Scene
from tests.bench.served import served
from tests.bench.table import Row

CLIENTS, EACH, ROUNDS = 8, 12, 3


def log_weighing(scene: Scene) -> list[Row]:
    """P6. Each client weighs a batch of its own; the answer is the batch as it then stands."""
    reserved = Batch.objects.filter(state=BatchState.RESERVED, title__startswith="Trial ").order_by("id")[
        :CLIENTS
    ]
    bodies = [_body(batch) for batch in reserved]
    assert len(bodies) == CLIENTS
    floor_body = json.dumps(bare_weighing(scene)).encode()
    headers = {"Authorization": f"Bearer {scene.secret}", "Content-Type": "application/json"}
    with served(workers=2) as server:

        def ours(told: Sequence[Any]) -> None:
            client = http.client.HTTPConnection("127.0.0.1", server.port)
            for number, body in told:
                post(client, f"/api/v1/batches/{number}/weighings/", body, headers, 201)

        def floor(told: Sequence[Any]) -> None:
            client = http.client.HTTPConnection("127.0.0.1", server.port)
            for _ in told:
                post(client, "/floor/weighings/", floor_body, headers, 201)

        shares = [[told] * EACH for told in bodies]
        floors, mine = [], []
        for _ in range(ROUNDS):
            floors.append(milliseconds_each(floor, shares))
            mine.append(milliseconds_each(ours, shares))
    return [Row("P6", "log a weighing, API, 8 clients", "bare DRF create, same server", floors, mine, 1.7)]


def _body(batch: Batch) -> tuple[str, bytes]:
    line = BatchLine.objects.filter(batch=batch).select_related("lot").order_by("position")[0]
    reading = {"position": line.position, "lot": line.lot.number, "mass": "0.0001", "confirmed": True}
    return batch.number, json.dumps({"weighings": [reading]}).encode()


ROWS = {"P6": log_weighing}
