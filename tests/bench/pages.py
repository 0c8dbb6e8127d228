"""Rows of the pages: each against a bare view that runs the same statements and answers their rows as JSON."""

from collections.abc import Callable, Iterator
from typing import Any

from django.db import connection
from django.test import Client

from tests.bench.floors import SameStatements
from tests.bench.scene import Scene
from tests.bench.table import Row, compared


def pages(scene: Scene) -> Iterator[Row]:
    """P15. A page that is not there, or refuses, is no measurement."""
    for what, address in addresses(scene):
        yield _row(scene, what, address)


def addresses(scene: Scene) -> Iterator[tuple[str, str]]:
    blend, draft = scene.blend.number, scene.draft
    yield "Today", "/"
    yield "Shelf", "/shelf/"
    yield "Shelf, searched", "/shelf/?q=odorant+001&state=all"
    yield "Lot", f"/lots/{blend}/"
    yield "Trace back", f"/lots/{blend}/trace/"
    yield "Trace back, 2,000 pours", f"/lots/{scene.deep_vial.number}/trace/"
    yield "Trace forward", f"/lots/{scene.wide_bottle.number}/trace/?direction=forward"
    yield "Materials", "/materials/"
    yield "Material", f"/materials/{scene.material}/"
    yield "Formulas", "/formulas/"
    yield "Formula", f"/formulas/{scene.formula}/"
    yield "Plan", f"/batches/plan/?formula={scene.formula}"
    yield "Batches", "/batches/"
    yield "Batches, closed", "/batches/?state=closed"
    yield "Batch, draft", f"/batches/{draft}/"
    yield "Batch, closed", f"/batches/{scene.closed}/"
    yield "Bench", f"/batches/{scene.weighing}/bench/"
    yield "Balances", "/balances/"


def _row(scene: Scene, what: str, address: str) -> Row:
    def ours() -> Any:
        return scene.visitor.get(address)

    statements = _captured(ours, what)
    client = Client()

    def floor() -> Any:
        SameStatements.statements = statements
        return client.get("/floor/statements/")

    return compared("P15", f"page {what}", "bare DRF view, the same statements, rows as JSON", floor, ours, 2)


def _captured(ours: Callable[[], Any], what: str) -> list[tuple[str, Any]]:
    """The statements of a page as the database was given them, with their parameters."""
    ours()
    taken: list[tuple[str, Any]] = []

    def note(execute: Any, statement: str, parameters: Any, many: bool, context: Any) -> Any:
        taken.append((statement, parameters))
        return execute(statement, parameters, many, context)

    with connection.execute_wrapper(note):
        answer = ours()
    assert answer.status_code == 200, f"page {what} answers {answer.status_code}"
    return taken


ROWS = {"P15": pages}
