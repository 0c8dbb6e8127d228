"""On the second engine only those tests are left out that cannot touch a database, and those of mere looks."""

from types import SimpleNamespace
from typing import Any

import pytest

from tests.one_engine import TESTS, says_the_same_on_any_engine, touches_no_database


def item(path: str, *fixtures: str, marked: bool = False) -> Any:
    return SimpleNamespace(
        path=TESTS / path,
        fixturenames=fixtures,
        get_closest_marker=lambda name: marked and name == "django_db",
    )


@pytest.mark.parametrize(
    "path",
    ["checks/test_a.py", "architecture/test_a.py", "inventory/calc/test_a.py", "batches/calc/test_a.py"],
)
def test_a_test_of_values_alone_is_left_out_and_one_that_opens_the_database_is_not(path: str) -> None:
    assert touches_no_database(item(path, "empty_cache", "monkeypatch"))
    for opening in ("db", "committed", "owner", "new_studio", "transactional_db"):
        assert not touches_no_database(item(path, opening))
    assert not touches_no_database(item(path, marked=True))


@pytest.mark.parametrize(
    "path", ["test_a.py", "studio/kernel/test_a.py", "batches/test_calc.py", "api/test_a.py"]
)
def test_outside_of_the_folders_of_pure_tests_everything_runs_on_both_engines(path: str) -> None:
    assert not touches_no_database(item(path))


@pytest.mark.django_db
def test_this_test_opens_the_database_where_others_do_not(request: pytest.FixtureRequest) -> None:
    assert not touches_no_database(request.node)


def test_what_only_looks_at_pages_is_marked_and_runs_once() -> None:
    looking = item("browser/test_a.py", "committed")
    assert not says_the_same_on_any_engine(looking)
    looking.get_closest_marker = lambda name: name == "looks"
    assert says_the_same_on_any_engine(looking)
