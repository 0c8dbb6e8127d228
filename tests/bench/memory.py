"""The row of memory: a web process after it has answered all pages many times, against the framework alone."""

import http.client
from collections.abc import Sequence

from tests.bench.pages import addresses
from tests.bench.reading import SHELF_API
from tests.bench.scene import Scene
from tests.bench.served import Served, served
from tests.bench.table import Row

TIMES = 30


def web_process(scene: Scene) -> list[Row]:
    """P14."""
    paths = [address for _, address in addresses(scene)]
    cookie = scene.visitor.client.cookies.output(attrs=[], header="", sep=";").strip()
    pages = {"Cookie": cookie}
    key = {"Authorization": f"Bearer {scene.secret}"}
    calls = [f"/api/v1/{SHELF_API}", f"/api/v1/lots/{scene.deep_vial.number}/trace/"]
    with served(workers=1) as service:
        _ask(service, paths, pages)
        _ask(service, calls, key)
        ours = service.workers_mb()
    with served(workers=1, settings="tests.bench.bare", application="tests.bench.bare_view") as bare:
        _ask(bare, [*paths, *calls], {})
        floor = bare.workers_mb()
    what = "memory of a web process after all pages, 30 times each"
    return [Row("P14", what, "bare DRF process, as many requests", [floor], [ours], 2, unit="MB")]


def _ask(server: Served, paths: Sequence[str], headers: dict[str, str]) -> None:
    client = http.client.HTTPConnection("127.0.0.1", server.port)
    for _ in range(TIMES):
        for path in paths:
            client.request("GET", path, headers=headers)
            answer = client.getresponse()
            answer.read()
            if answer.status != 200:
                raise RuntimeError(f"{path} answers {answer.status}")


ROWS = {"P14": web_process}
