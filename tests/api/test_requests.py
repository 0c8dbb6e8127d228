"""Every operation answers a sound request, drawn from its description, as it is described to."""

from urllib.parse import urlencode

import pytest
from django.db import transaction

from tests.api.contract import Operation, of_floors
from tests.api.world import World

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
            transaction.set_rollback(True)
