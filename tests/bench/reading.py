"""Rows of reading over the API: what is in a lot, and a page of the shelf, filtered and sorted."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.db import connection
from django.test import Client

from tests.bench.floors import Answer
from tests.bench.scene import Scene
from tests.bench.table import Row, compared

CONTENTS = """
    SELECT lot.number, lot.contents_revision, lot.on_hand, material.id, material.name, material.kind, content.fraction,
           content.uncertainty
    FROM inventory_lot lot
    JOIN inventory_lotcontent content ON content.lot_id = lot.id AND content.revision = lot.contents_revision
    JOIN inventory_material material ON material.id = content.material_id
    WHERE lot.number = %s ORDER BY content.fraction DESC, material.name
"""
SHELF_API = "lots/?kind=bottle&open=true&ordering=expires_on&limit=50"
SHELF_PAGE = "/shelf/?kind=bottle&state=open&sort=expires_on"


def contents(scene: Scene) -> list[Row]:
    """P3. The floor answers the same bytes."""
    number = scene.blend.number
    address = f"lots/{number}/contents/"
    Answer.answer = _contents_of(number)
    floor = _answered("/floor/answer/")
    here, there = scene.api.get(address).json(), floor().json()
    assert here == there, f"the floor says something else: {there}"
    return [
        compared(
            "P3",
            f"contents of a lot, {len(here['contents'])} materials, API",
            "bare DRF view, the same bytes from one SQL",
            floor,
            lambda: scene.api.get(address),
            1.3,
        )
    ]


def shelf(scene: Scene) -> list[Row]:
    """P4."""
    floor = _answered("/floor/lots/")
    first = scene.api.get(SHELF_API).json()["items"][0]["number"]
    assert floor().json()["items"][0]["number"] == first, "the floor lists other lots"
    return [
        compared(
            "P4",
            f"shelf list, 50 lots, filtered and sorted, {what}",
            "bare DRF list of the same rows",
            floor,
            ours,
            1.5,
        )
        for what, ours in (
            ("API", lambda: scene.api.get(SHELF_API)),
            ("page", lambda: scene.visitor.get(SHELF_PAGE)),
        )
    ]


def _contents_of(number: str) -> Callable[[], dict[str, Any]]:
    def answer() -> dict[str, Any]:
        with connection.cursor() as cursor:
            cursor.execute(CONTENTS, [number])
            rows = cursor.fetchall()
        return {
            "lot": rows[0][0],
            "revision": rows[0][1],
            "contents": [
                {
                    "material": str(material),
                    "name": name,
                    "kind": kind,
                    "fraction": f"{fraction:.9f}",
                    "standard_uncertainty": f"{uncertainty:.12f}",
                    "mass": f"{Decimal(str(fraction)) * on_hand / 10**6:.6f}",
                }
                for _, _, on_hand, material, name, kind, fraction, uncertainty in rows
            ],
        }

    return answer


def _answered(address: str) -> Callable[[], Any]:
    client = Client()
    return lambda: client.get(address)


ROWS = {"P3": contents, "P4": shelf}
