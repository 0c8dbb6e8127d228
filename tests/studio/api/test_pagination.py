"""Pages by cursor: every row once and in order, whatever the order and whatever is empty or equal."""

import itertools
import re
from datetime import timedelta

import pytest

from studio.actions.history import record
from studio.actions.keys import issue_key
from studio.models import ApiKey
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
ORDERINGS = ["created_at", "-created_at", "name", "-name", "expires_at", "-expires_at", "last_used_at"]


@pytest.fixture
def keys(owner, maker, reader):
    """Keys with equal names, equal times and missing times."""
    members = itertools.cycle([owner, maker, reader])
    for n in range(14):
        end = None if n % 3 == 0 else NOW + timedelta(days=1 + n % 4)
        at = NOW + timedelta(hours=n // 5)
        issue_key(by=next(members), name="abc"[n % 3], scope="read", at=at, expires_at=end)
    return ApiKey.objects.filter(member__studio=owner.studio)


def in_order(keys, ordering):
    """The ids in the order asked for, worked out in Python: empty values last, ties by the key."""
    names = [(name.removeprefix("-"), name.startswith("-")) for name in ordering.split(",")]
    rows = sorted(keys, key=lambda key: key.pk, reverse=names[0][1])
    for name, descending in reversed(names):
        filled = [key for key in rows if getattr(key, name) is not None]
        filled.sort(key=lambda key: getattr(key, name), reverse=descending)
        rows = filled + [key for key in rows if getattr(key, name) is None]
    return [str(key.pk) for key in rows]


@pytest.mark.parametrize("limit", [1, 4, 50])
@pytest.mark.parametrize(
    "ordering", [*ORDERINGS, "name,-expires_at", "-expires_at,name", "name,expires_at,created_at"]
)
def test_the_pages_together_are_the_whole_list_in_its_order(api, keys, ordering, limit):
    api.get("studio/")
    found = [row["id"] for row in api.all(f"keys/?ordering={ordering}&limit={limit}")]
    assert found == in_order(keys, ordering)


def test_the_list_has_an_order_of_its_own(api, keys):
    assert [row["id"] for row in api.all("keys/?limit=5")] == in_order(keys, "-created_at")


def test_an_order_may_run_over_another_table(api, owner, maker, reader):
    names = [row["name"] for row in api.all("members/?ordering=-name&limit=1")]
    assert names == sorted(map(str, (owner, maker, reader)), reverse=True)


def test_a_page_tells_the_next_in_its_body_and_its_link(api, keys):
    page = api.get("keys/?limit=4&scope=read")
    following = page.json()["next"]
    assert following.startswith("http://testserver/api/v1/keys/?limit=4&scope=read&cursor=")
    assert page["Link"] == f'<{following}>; rel="next"'
    last = api.get("keys/?limit=50")
    assert last.json()["next"] is None
    assert "Link" not in last


def test_a_page_that_ends_the_list_exactly_is_the_last(api, keys):
    assert api.get(f"keys/?limit={keys.count()}").json()["next"] is None


def test_rows_that_come_in_before_the_cursor_do_not_shift_the_next_page(api, owner):
    for n in range(4):
        record(by=owner, at=NOW + timedelta(hours=n), subject="x", name=str(n), verb="v")
    page = api.get("history/?subject=x&ordering=-at&limit=2").json()
    record(by=owner, at=NOW + timedelta(days=1), subject="x", name="new", verb="v")
    rest = api.get(page["next"]).json()
    assert [row["name"] for row in page["items"] + rest["items"]] == ["3", "2", "1", "0"]


def test_a_page_costs_one_statement_however_long_the_list(api, keys, django_assert_num_queries):
    following = api.get("keys/?limit=2").json()["next"]
    for path in ("keys/?limit=2", "keys/?limit=50", following):
        with django_assert_num_queries(2):
            api.get(path)


@pytest.mark.parametrize("limit", ["0", "-1", "201", "x", "", "1.5", "٣", "999999999999"])
def test_a_limit_out_of_bounds_is_refused(api, limit):
    answer = api.get(f"keys/?limit={limit}")
    assert answer.status_code == 400
    assert list(answer.json()["errors"]) == ["limit"]


@pytest.mark.parametrize(
    "ordering", ["", "id", "digest", "member__person__password", "name,", "name,name", "name,-name", "--name"]
)
def test_an_order_that_is_not_offered_is_refused_with_those_that_are(api, ordering):
    answer = api.get(f"keys/?ordering={ordering}")
    assert answer.status_code == 400
    assert "created_at, name, expires_at, last_used_at" in answer.json()["errors"]["ordering"][0]


def cursor_of(address):
    return re.search(r"cursor=([^&]+)", address)[1]


@pytest.mark.parametrize(
    "other",
    [
        "keys/?ordering=name&limit=2",
        "keys/?scope=read&limit=2",
        "history/?limit=2",
        "keys/?ordering=created_at",
    ],
)
def test_a_cursor_of_another_list_order_or_filter_is_refused(api, keys, other):
    cursor = cursor_of(api.get("keys/?limit=2").json()["next"])
    answer = api.get(f"{other}&cursor={cursor}")
    assert answer.status_code == 400
    assert answer.json()["type"] == "/problems/bad-cursor"


def test_a_cursor_of_another_studio_is_refused(api, keys, api_of, stranger):
    following = api.get("keys/?limit=2").json()["next"]
    assert api_of(stranger).get(following).status_code == 400


@pytest.mark.parametrize("cursor", ["", "x", "W10", "W10:aaaa:bbbb", "%00", "é" * 50, "a" * 5000])
def test_a_cursor_that_is_none_is_refused(api, cursor):
    assert api.get(f"keys/?cursor={cursor}").status_code == 400


def test_no_altered_cursor_passes(api, keys):
    cursor = cursor_of(api.get("keys/?limit=2").json()["next"])
    for place in range(0, len(cursor), 7):
        altered = cursor[:place] + ("A" if cursor[place] != "A" else "B") + cursor[place + 1 :]
        assert api.get(f"keys/?limit=2&cursor={altered}").status_code == 400


def test_the_page_size_may_change_from_page_to_page(api, keys):
    following = api.get("keys/?limit=2").json()["next"]
    rest = api.get(following.replace("limit=2", "limit=100")).json()
    assert len(rest["items"]) == keys.count() - 2
