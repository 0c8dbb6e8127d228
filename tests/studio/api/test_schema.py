"""The description of the API, and the page made from it."""

import re

import pytest
from django.core.management import call_command
from drf_spectacular.validation import validate_schema

from studio.api.reference import document, example, groups

SAFE = {"400", "401", "403", "404", "406", "429", "503"}


def operations():
    for path, methods in document()["paths"].items():
        for method, operation in methods.items():
            yield f"{method.upper()} {path}", method, operation


def test_the_description_is_openapi_3_1_and_valid():
    assert document()["openapi"] == "3.1.0"
    validate_schema(document())


def test_it_is_generated_without_a_warning(tmp_path):
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(tmp_path / "schema.yaml"))


def test_every_operation_has_a_summary_a_name_of_its_own_and_a_success():
    names = [operation["operationId"] for _, _, operation in operations()]
    assert len(set(names)) == len(names)
    assert [
        where for where, _, operation in operations() if not operation.get("summary", "").endswith(".")
    ] == []
    assert [
        where for where, _, operation in operations() if not any(s < "300" for s in operation["responses"])
    ] == []


def test_every_operation_tells_its_refusals_and_how_to_sign_in():
    for where, method, operation in operations():
        statuses = set(operation["responses"])
        assert statuses >= SAFE, where
        if method == "post":
            assert {"409", "415", "422"} <= statuses, where
        if method in ("patch", "put", "delete"):
            assert {"409", "412", "428"} <= statuses, where
        assert operation["security"] == [{"key": []}, {"session": []}], where
        refusal = operation["responses"]["401"]["content"]
        assert list(refusal) == ["application/problem+json"], where


def test_headers_for_idempotency_and_editions_are_told():
    for where, method, operation in operations():
        headers = {one["name"]: one["required"] for one in operation["parameters"] if one["in"] == "header"}
        if method == "post":
            assert headers == {"Idempotency-Key": False}, where
        elif method == "get":
            assert headers in ({}, {"If-None-Match": False}), where
        else:
            assert headers == {"If-Match": True}, where


def test_shapes_refuse_nothing_that_they_answer():
    """Every example drawn from the description is a value of the kinds it names."""
    for name, component in document()["components"]["schemas"].items():
        if component.get("type") == "object":
            assert isinstance(example(component), dict), name


def test_every_operation_stands_on_the_page(client):
    page = client.get("/api/").content.decode()
    for _, _, operation in operations():
        assert f'id="{operation["operationId"]}"' in page
    assert sum(len(group.operations) for group in groups()) == len(list(operations()))


def test_the_page_has_no_script_of_its_own_nothing_inline_and_no_other_host(client):
    page = client.get("/api/").content.decode()
    scripts = re.findall(r"<script([^>]*)>([^<]*)</script>", page)
    assert len(scripts) == page.count("<script")
    assert all('src="/static/studio/' in attributes and not inline for attributes, inline in scripts)
    assert "style=" not in page
    assert "http://" not in page.replace("http://testserver", "").replace("http://www.w3.org", "")
    # An example of where a webhook may lead is text, and nothing that the page fetches.
    assert "https://" not in page.replace("https://hooks.example.org", "")


@pytest.mark.parametrize("form", ["json", "yaml"])
def test_the_description_is_served_in_both_forms(client, form):
    answer = client.get(f"/api/schema/?format={form}")
    assert answer.status_code == 200
    assert answer["Content-Type"] == f"application/{form}"
    assert b"/api/v1/keys/" in answer.content


def test_another_form_of_the_description_is_refused(client):
    assert client.get("/api/schema/?format=xml").status_code == 406
