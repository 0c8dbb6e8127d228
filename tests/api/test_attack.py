"""The whole description attacked, by each role: every answer is one that is described, and none is a breakdown.

Sound and unsound calls are drawn from the description by schemathesis, which also checks the answers. In half of the calls
the things in the path are there, so that what is sent reaches the work behind it. With STILLROOM_LONG=1 there are more
than ten thousand calls. Two of its checks do not hold here, and are left out on purpose: what fits the shapes may still be
refused with 400, since only the studio knows its materials; and things are not used again after they were deleted,
because every call is rolled back.
"""

import functools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import count
from typing import Any

import pytest
import schemathesis
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.core.failures import FailureGroup
from schemathesis.core.parameters import ParameterLocation
from schemathesis.generation import GenerationMode

from studio.api.reference import document
from studio.models import ApiKey
from tests.api.contract import Operation, operations
from tests.api.world import World
from tests.long import LONG, many

load_all_checks()
LEFT_OUT = {
    "positive_data_acceptance",
    "use_after_free",
    "ensure_resource_availability",
    "object_level_authorization",
}
CHECKED = [CHECKS.get_one(name) for name in CHECKS.get_all_names() if name not in LEFT_OUT]
SCOPES = {"owner": "admin", "maker": "write", "reader": "read"}
ROLES = tuple(SCOPES)
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
EACH = many(1, 12)
"""Calls of each operation by each role and in each mode; usually by one role in one mode only."""


@functools.cache
def described() -> Any:
    schema = schemathesis.openapi.from_dict(document())
    schema.app = WSGIHandler()
    return schema


@pytest.fixture(autouse=True)
def one_connection() -> Iterator[None]:
    """The calls go through the whole service, which would close the connection whose transaction is taken back."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.parametrize("operation", operations(), ids=str)
def test_whatever_is_sent_the_answer_is_described(operation: Operation, world: World, key_of: Any) -> None:
    place = operation.place
    keys = [
        {"Authorization": f"Bearer {key_of(getattr(world, role), SCOPES[role])}"}
        for role in (ROLES if LONG else ROLES[place % 3 :][:1])
    ]
    world.names["id"] = str(ApiKey.objects.order_by("-id").values_list("id", flat=True)[0])
    faults: dict[str, str] = {}
    for mode in MODES if LONG else MODES[place % 2 :][:1]:
        attack(operation, world, keys, mode, faults)
    assert not faults, f"{len(faults)} of {operation}:\n\n" + "\n\n".join(faults.values())


def attack(
    operation: Operation,
    world: World,
    keys: Sequence[dict[str, str]],
    mode: GenerationMode,
    faults: dict[str, str],
) -> None:
    """Draw calls of one mode and make each of them with every key; what is wrong goes to `faults`."""
    sound = world.place(operation)
    asked = count()

    @seed(operation.place)
    @settings(
        max_examples=EACH,
        phases=[Phase.generate],
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=described()[operation.path][operation.method].as_strategy(generation_mode=mode))
    def each(case: Any) -> None:
        if next(asked) % 2 == 0 and is_sound(case, ParameterLocation.PATH):
            case.path_parameters = dict(sound)
        for headers in keys:
            with undone():
                try:
                    case.call_and_validate(headers=headers, checks=CHECKED)
                except FailureGroup as found:
                    for one in found.exceptions:
                        faults.setdefault(
                            f"{type(one).__name__} {one}"[:80], f"{one}\n{case.as_curl_command()}"
                        )

    each()


def is_sound(case: Any, place: ParameterLocation) -> bool:
    """Whether what was drawn for this place is meant to be sound."""
    drawn = case.meta.components.get(place) if case.meta else None
    return drawn is None or drawn.mode == GenerationMode.POSITIVE


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
