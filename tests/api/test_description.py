"""The description of the API: valid, complete, with examples that fit, and no change of it unseen."""

from collections.abc import Iterator

import pytest
import yaml

from studio.api.reference import document, example
from tests.api.contract import Operation, Schema, faults_of, kinds, operations, resolved
from tests.api.recorded import RECORDED, RENEW, changes, described

OPERATIONS = operations()
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def test_the_contract_is_as_it_was_recorded() -> None:
    diff = changes(RECORDED.read_text("utf-8"), described())
    assert not diff, f"The API changed:\n{diff}\n\nIf that is meant, renew the recorded copy:\n    {RENEW}"


def test_the_recorded_copy_says_the_same_as_the_description() -> None:
    recorded = yaml.load(RECORDED.read_text("utf-8"), LOADER)
    for path, methods in recorded["paths"].items():
        for method, operation in methods.items():
            for status, response in operation["responses"].items():
                if "$ref" in response:
                    response = recorded["components"]["responses"][response["$ref"].rsplit("/", 1)[1]]
                assert response == document()["paths"][path][method]["responses"][status]


def test_a_change_is_shown_by_the_lines_that_changed() -> None:
    now = described().replace("summary: List the shelves.", "summary: List them.")
    diff = changes(described(), now)
    assert "-      summary: List the shelves." in diff
    assert "+      summary: List them." in diff
    assert len(diff.splitlines()) < 12


@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_an_operation_is_told_in_a_sentence_and_has_its_shapes(operation: Operation) -> None:
    summary = operation.described["summary"]
    assert summary.endswith(".")
    assert summary[0].isupper()
    if operation.method in ("POST", "PUT", "PATCH"):
        assert operation.body is not None or operation.reads_sheet
    for schema in answers_of(operation):
        assert resolved(schema).get("properties"), "every answer is an object with named members"


def answers_of(operation: Operation) -> Iterator[Schema]:
    """The schemas of the answers of success; a file has none."""
    for status, response in operation.described["responses"].items():
        if status < "300" and "application/json" in response["content"]:
            yield response["content"]["application/json"]["schema"]


@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_examples_fit_the_schemas_they_stand_in(operation: Operation) -> None:
    schemas = [*answers_of(operation), *operation.parameters("query").values()]
    if operation.body is not None:
        schemas.append(operation.body)
    for schema in schemas:
        assert faults_of(example(dict(schema)), schema) == []


@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_every_member_says_what_it_looks_like(operation: Operation) -> None:
    schemas = [*answers_of(operation), *([operation.body] if operation.body else [])]
    for schema in schemas:
        for where, leaf in leaves(schema):
            assert tells_its_looks(leaf), f"{where} of {operation} is described as {leaf}"


def leaves(schema: Schema, where: str = "") -> Iterator[tuple[str, Schema]]:
    """Every member that holds no others, with its path."""
    schema = resolved(schema)
    if "array" in kinds(schema):
        yield from leaves(schema["items"], f"{where}[]")
    elif schema.get("properties"):
        for name, inner in schema["properties"].items():
            yield from leaves(inner, f"{where}.{name}")
    else:
        yield where, schema


def tells_its_looks(leaf: Schema) -> bool:
    """A text for people needs no example; a number in text, an id, a time and a word do."""
    if kinds(leaf) - {"null"} <= {"boolean", "integer"}:
        return True
    if "pattern" in leaf and leaf["pattern"] != r"\S":
        return bool(leaf.get("examples"))
    if leaf.get("format") in ("date", "date-time"):
        return bool(leaf.get("examples"))
    return "type" in leaf
