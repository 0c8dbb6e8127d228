"""A client that holds every answer to its description."""

from collections.abc import Callable
from typing import Any

import pytest

from studio.models import Member


@pytest.fixture
def api_of(key_of: Callable[..., str]) -> Callable[..., Any]:
    from tests.api.contract import CheckedApi

    def client(member: Member, scope: str = "") -> CheckedApi:
        return CheckedApi(key_of(member, scope))

    return client
