"""Every operation answers a sound request, drawn from its description, as it is described to."""

from urllib.parse import urlencode

import pytest
from django.db import transaction
from django.http import HttpResponse

from tests.api.contract import ROOT, Operation, of_floors
from tests.api.sheets import send
from tests.api.world import World

HEADERS = {"ETag", "Location"}
SHEETS = {
    "materials/import/": "name\ncinnamyl alcohol\n",
    "bottles/import/": "material,mass\nlinalool,10\n",
    "pars/import/": "material,low,full\nlinalool,1,10\n",
    "formulas/import/": "formula,material,parts\nrain,linalool,1\n",
}

JSON_OPERATIONS = [one for one in of_floors() if not one.reads_sheet]


@pytest.mark.parametrize("operation", JSON_OPERATIONS, ids=str)
def test_a_sound_request_is_answered(operation: Operation, world: World, client_of) -> None:
    api = client_of(world.owner)
    for body in list(world.bodies(operation)) or [None]:
        with transaction.atomic():
            headers = {"if_match": "*"} if operation.method in ("PATCH", "PUT", "DELETE") else {}
            address = f"{world.address(operation)}?{urlencode(world.query(operation))}"
            answer = api.call(operation.method, address, body, **headers)
            assert answer.status_code < 300, (body, answer.content.decode())
            assert told_headers(answer) == described_headers(operation, answer.status_code)
            transaction.set_rollback(True)


@pytest.mark.parametrize("operation", [one for one in of_floors() if one.reads_sheet], ids=str)
def test_an_import_is_answered_with_the_headers_that_are_described(
    operation: Operation, world: World, client_of
) -> None:
    address = operation.path.removeprefix(ROOT)
    with transaction.atomic():
        answer = send(client_of(world.owner), address, SHEETS[address])
        assert answer.status_code == 201, answer.content.decode()
        assert told_headers(answer) == described_headers(operation, 201)
        transaction.set_rollback(True)


def told_headers(answer: HttpResponse) -> set[str]:
    return HEADERS & set(answer.headers)


def described_headers(operation: Operation, status: int) -> set[str]:
    return HEADERS & set(operation.described["responses"][str(status)].get("headers", {}))
