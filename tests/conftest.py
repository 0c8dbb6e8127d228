"""What every test may ask for: a studio with its people, keys, and a client for the API.

Tests of calc and kernel values run without Django too, so nothing of it is imported before a fixture is used.

Ordinary tests take `db` and are rolled back. Tests of races and crashes take `committed`: it opens the database
without any cleaning up, because append-only tables refuse to be emptied. Such a test makes a studio of its own and
looks at nothing else; it runs after all that are rolled back, which therefore find the database empty.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit
from uuid import uuid4

import pytest
from hypothesis import settings as settings_of_examples

from tests.long import LONG
from tests.one_engine import says_the_same_on_any_engine

if TYPE_CHECKING:
    from studio.models import Member, Studio
    from tests.client import Api
    from tests.workbench import Workbench

PASSWORD = "correct resin staple 7"
TEST_KEY = "dGhlIGtleSBvZiBhbGwgdGVzdHM6IDMyIGxldHRlcnM="
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
_count = itertools.count(1)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--again",
        action="store_true",
        help="leave out the tests that say the same on any engine; they have run on another",
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What stays in the database comes after everything that is rolled back, in whatever order chance gave to each."""
    items.sort(key=lambda item: "committed" in getattr(item, "fixturenames", ()))
    if not config.getoption("--again"):
        return
    left_out = [item for item in items if says_the_same_on_any_engine(item)]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if item not in set(left_out)]


def pytest_configure(config: pytest.Config) -> None:
    # The usual run tries the same examples each time; the long one looks for others.
    settings_of_examples.register_profile("examples", derandomize=not LONG)
    settings_of_examples.load_profile("examples")
    if not config.pluginmanager.hasplugin("django"):
        return
    from django.conf import settings

    # Checkpoints of one test are believed by the next, wherever each of them keeps its own.
    settings.CHECKPOINT_KEY = TEST_KEY
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    if settings.REDIS_URL:
        settings.CACHES["default"]["LOCATION"] = _own_redis(settings.REDIS_URL)
    # A test runs the jobs that it wants to see.
    settings.JOBS = "nobody"
    # The service holds its readers to a rate; tests of anything else must never meet it.
    settings.REQUESTS_PER_MINUTE = 1_000_000


def _own_redis(url: str) -> str:
    """The numbered database of this worker: one that empties its cache must not empty its neighbour's."""
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    return urlsplit(url)._replace(path=f"/{worker + 1}").geturl()


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment: None, django_db_blocker: Any, django_db_modify_db_settings: None
) -> Iterator[None]:
    """The test database, whichever way a test comes to ask for it.

    The plugin's own fixture looks only at what tests ask for by name, and would leave those that get here by
    `owner` or `committed` with the database of the running service.
    """
    from django.test.utils import setup_databases, teardown_databases

    with django_db_blocker.unblock():
        made = setup_databases(verbosity=0, interactive=False)
    yield
    with django_db_blocker.unblock():
        _end_other_sessions()
        teardown_databases(made, verbosity=0)


def _end_other_sessions() -> None:
    """PostgreSQL drops no database that somebody is connected to, be it a thread of a test that is still ending."""
    from django.db import connection

    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture
def committed(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """The database as the service has it: what is written stays, and other connections see it."""
    from django.db import connections

    with django_db_blocker.unblock():
        yield
        connections.close_all()


@pytest.fixture(autouse=True)
def empty_cache(request: pytest.FixtureRequest) -> None:
    """No count or mark of one test is seen by the next."""
    if request.config.pluginmanager.hasplugin("django"):
        from django.core.cache import cache, caches

        from studio.kernel import rate

        cache.clear()
        caches["own"].clear()
        rate._shared.wake()


@pytest.fixture(autouse=True)
def own_checkpoints(request: pytest.FixtureRequest) -> Iterator[None]:
    """What one test keeps outside of the database, which is rolled back, is not found by the next."""
    if not request.config.pluginmanager.hasplugin("django"):
        yield
        return
    from django.test import override_settings

    folder = Path(tempfile.gettempdir()) / f"stillroom-checkpoints-{uuid4().hex}"
    with override_settings(CHECKPOINTS=folder / "checkpoints"):
        yield
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def at() -> datetime:
    return NOW


@pytest.fixture
def new_studio() -> Callable[[], Member]:
    """Founds another studio, with names of its own, and returns its owner."""

    def found() -> Member:
        from studio.actions.studios import found_studio

        return found_studio(
            name=f"Studio {next(_count)}",
            owner_name="Ada Owner",
            email=f"owner-{uuid4().hex[:12]}@example.org",
            password=PASSWORD,
            at=NOW,
        )

    return found


@pytest.fixture
def new_member() -> Callable[..., Member]:
    """Takes another member into the studio of an owner."""

    def add(owner: Member, role: str) -> Member:
        from studio.actions.studios import add_member

        member = add_member(
            by=owner,
            name=f"{role.title()} {next(_count)}",
            email=f"{role}-{uuid4().hex[:12]}@example.org",
            password=PASSWORD,
            role=role,
            at=NOW,
        )
        member.studio = owner.studio
        return member

    return add


@pytest.fixture
def owner(new_studio: Callable[[], Member], request: pytest.FixtureRequest) -> Member:
    if "committed" not in request.fixturenames:
        request.getfixturevalue("db")
    return new_studio()


@pytest.fixture
def studio(owner: Member) -> Studio:
    return owner.studio


@pytest.fixture
def maker(owner: Member, new_member: Callable[..., Member]) -> Member:
    return new_member(owner, "maker")


@pytest.fixture
def reader(owner: Member, new_member: Callable[..., Member]) -> Member:
    return new_member(owner, "reader")


@pytest.fixture
def stranger(owner: Member, new_studio: Callable[[], Member]) -> Member:
    """The owner of another studio."""
    return new_studio()


@pytest.fixture
def key_of() -> Callable[..., str]:
    """The secret of a new key of a member; the widest that the role may have, unless a scope is given."""

    def issue(member: Member, scope: str = "") -> str:
        from studio.actions.keys import issue_key

        widest = {"owner": "admin", "maker": "write", "reader": "read"}[member.role]
        return issue_key(by=member, name="test", scope=scope or widest, at=NOW)[1]

    return issue


@pytest.fixture
def api_of(key_of: Callable[..., str]) -> Callable[..., Api]:
    """A client for the API with a key of a member."""

    def client(member: Member, scope: str = "") -> Api:
        from tests.client import Api

        return Api(key_of(member, scope))

    return client


@pytest.fixture
def api(owner: Member, api_of: Callable[..., Api]) -> Api:
    """A client for the API with the owner's key."""
    return api_of(owner)


@pytest.fixture
def bench(owner: Member) -> Workbench:
    """The owner's workbench."""
    from tests.workbench import Workbench

    return Workbench(owner, NOW)
