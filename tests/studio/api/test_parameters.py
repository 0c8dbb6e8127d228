"""Query parameters: read by shape, and never silently ignored."""

import pytest

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.api.example")]


def refused(answer):
    assert answer.status_code == 400
    return answer.json()["errors"]


def test_parameters_are_read_through_the_shape_of_the_method(api):
    assert api.get("asking/").json() == {"direction": "back", "deep": 3, "all": False}
    asked = api.get("asking/?direction=forward&deep=9&all=true&format=json").json()
    assert asked == {"direction": "forward", "deep": 9, "all": True}


@pytest.mark.parametrize(
    "query", ["direction=up", "deep=10", "deep=x", "deep=1.0", "deep=", "all=yes", "all=", "deep=%D9%A3"]
)
def test_a_parameter_out_of_bounds_is_refused(api, query):
    assert list(refused(api.get(f"asking/?{query}"))) == [query.partition("=")[0]]


@pytest.mark.parametrize("path", ["asking/", "studio/", "keys/", "members/", "keys/1/"])
def test_an_unknown_parameter_is_refused_and_not_ignored(api, path):
    answer = api.get(f"{path}?bogus=1")
    assert list(refused(answer)) == ["bogus"]
    assert answer.json()["type"] == "/problems/unknown-parameter"


def test_a_mistyped_filter_is_told_the_nearest_name(api):
    assert "Did you mean “revoked”?" in refused(api.get("keys/?revokd=true"))["revokd"][0]


def test_a_parameter_given_twice_is_refused(api):
    assert "2 times" in refused(api.get("keys/?scope=read&scope=write"))["scope"][0]
    assert "2 times" in refused(api.get("asking/?deep=1&deep=2"))["deep"][0]


def test_a_post_takes_no_parameters_of_the_list(api):
    assert list(refused(api.post("keys/?scope=read", {"name": "x"}))) == ["scope"]


@pytest.mark.parametrize(
    "query", ["scope=root", "scope=", "revoked=perhaps", "revoked=", "revoked=1", "revoked=True"]
)
def test_a_filter_out_of_bounds_is_refused(api, query):
    refused(api.get(f"keys/?{query}"))


@pytest.mark.parametrize(
    "query", ["subject=%00", "by=x", "by=1.5", "by=1e999", "since=yesterday", "by=" + "9" * 40]
)
def test_no_filter_of_history_breaks_the_service(api, query):
    refused(api.get(f"history/?{query}"))


def test_filters_find_what_they_say(api, owner):
    api.post("keys/", {"name": "x", "scope": "read"})
    assert [row["scope"] for row in api.all("keys/?scope=read")] == ["read"]
    assert api.all("keys/?revoked=true") == []
    assert len(api.all("keys/?revoked=false")) == 2
    assert len(api.all("members/?active=true")) == 1
    assert api.all("members/?active=false") == []


def test_an_address_with_a_nul_leads_nowhere(api):
    assert api.get("asking/a%00b/").status_code == 404


@pytest.mark.parametrize("path", ["keys/0/", f"keys/{10**25}/", f"keys/{'9' * 5000}/"])
def test_an_id_of_any_size_is_just_not_there(api, path):
    assert api.get(path).status_code == 404
