"""The furnished studio, built once for each module and rolled back after it; every test puts back what it did."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.api.contract import CheckedApi
from tests.api.world import World, furnished


@pytest.fixture(scope="module")
def opened(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """The database for a whole module, left as it was found."""
    from django.db import transaction

    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def shared_world(opened: None) -> World:
    return furnish("ours", apart=0)


@pytest.fixture(scope="module")
def strange_world(shared_world: World) -> World:
    """Another studio with the same things in it, whose lot and batch numbers are its own."""
    return furnish("theirs", apart=40)


@pytest.fixture
def world(shared_world: World) -> Iterator[World]:
    from django.db import transaction

    with transaction.atomic():
        yield shared_world
        transaction.set_rollback(True)


@pytest.fixture
def client_of(key_of: Callable[..., str]) -> Callable[..., CheckedApi]:
    """A client that holds every answer to its description."""
    return lambda member, scope="": CheckedApi(key_of(member, scope))


def furnish(name: str, *, apart: int) -> World:
    from studio.actions.studios import add_member, found_studio
    from tests.conftest import NOW, PASSWORD

    def address(role: str) -> str:
        return f"{role}-of-{name}@example.org"

    owner = found_studio(name=name, owner_name="Ada", email=address("owner"), password=PASSWORD, at=NOW)
    owner.studio.refresh_from_db()
    others = [
        add_member(by=owner, name=role.title(), email=address(role), password=PASSWORD, role=role, at=NOW)
        for role in ("maker", "reader")
    ]
    for member in others:
        member.studio = owner.studio
    return furnished(owner, *others, apart=apart)
