"""The description of the API as tests use it: its operations, and whether an answer is one it describes.

An answer is checked against the very schema that is published, made stricter in one point: an object may have no
member that its schema does not name, so that nothing is answered that is not described.
"""

import functools
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import Resolver404
from jsonschema import Draft202012Validator, FormatChecker

from studio.api.problems import PROBLEM_JSON
from studio.api.reference import document
from tests.client import Api

ROOT = "/api/v1/"
STUDIO_OWN = ("studio", "members", "keys", "history", "records", "checkpoints", "alert-mail")
Schema = Mapping[str, Any]


@dataclass(frozen=True)
class Operation:
    """One method of one address, as it is described."""

    place: int
    method: str
    path: str
    described: Schema

    def __str__(self) -> str:
        return f"{self.method} {self.path.removeprefix(ROOT)}"

    @property
    def name(self) -> str:
        name: str = self.described["operationId"]
        return name

    @property
    def tag(self) -> str:
        return self.path.removeprefix(ROOT).split("/")[0]

    @property
    def writes(self) -> bool:
        return self.method != "GET"

    @property
    def is_list(self) -> bool:
        """Of a list there are pages and a sheet; what has only a sheet is none."""
        return self.method == "GET" and {"application/json", "text/csv"} <= {
            *self.described["responses"]["200"]["content"]
        }

    @property
    def reads_sheet(self) -> bool:
        return "text/csv" in self.described.get("requestBody", {}).get("content", {})

    @property
    def body(self) -> Schema | None:
        """The schema of the JSON body, or None when there is none."""
        content = self.described.get("requestBody", {}).get("content", {})
        return resolved(content["application/json"]["schema"]) if "application/json" in content else None

    @property
    def needs_a_query(self) -> bool:
        """Whether it is refused without one: by a parameter that is required, or by one of several."""
        required = any(one["in"] == "query" and one.get("required") for one in self.described["parameters"])
        return required or self.name == "ethanol_water_retrieve"

    @property
    def things(self) -> list[str]:
        """The parameters of the path that name something of a studio; a day is everybody's."""
        return [name for name in self.parameters("path") if name != "day"]

    def parameters(self, place: str) -> dict[str, Schema]:
        """The schemas of the parameters in the path, the query or the headers, by name."""
        return {
            one["name"]: resolved(one["schema"]) for one in self.described["parameters"] if one["in"] == place
        }


@functools.cache
def operations() -> tuple[Operation, ...]:
    """Every operation of the API, those of the studio itself included."""
    found = [
        (method.upper(), path, described)
        for path, methods in sorted(document()["paths"].items())
        for method, described in methods.items()
    ]
    return tuple(Operation(place, *one) for place, one in enumerate(found))


def of_floors() -> tuple[Operation, ...]:
    """The operations of inventory and batches."""
    return tuple(one for one in operations() if one.tag not in STUDIO_OWN)


def resolved(schema: Schema) -> Schema:
    """The schema behind a reference, looking through the wrapping that says a reference may be null too."""
    if "$ref" in schema:
        return resolved(document()["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]])
    for several in ("oneOf", "anyOf", "allOf"):
        if several in schema:
            return resolved(schema[several][0])
    return schema


def kinds(schema: Schema) -> set[str]:
    """The JSON types a schema names."""
    kind = schema.get("type", "object")
    return {kind} if isinstance(kind, str) else set(kind)


def as_text(value: Any) -> str:
    """A value as a query string has it; of several the first."""
    if isinstance(value, list):
        value = value[0]
    return str(value).lower() if isinstance(value, bool) else str(value)


FORMATS = FormatChecker()


@FORMATS.checks("date-time")
def _is_moment(value: object) -> bool:
    """RFC 3339 with its offset, in a year that every part of the service can reckon with."""
    if not isinstance(value, str):
        return True
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", value):
        return False
    try:
        return 1 < datetime.fromisoformat(value).year < 9999
    except ValueError:
        return False


@functools.cache
def _strict_components() -> Schema:
    """The components, with objects that hold what they name and nothing else; a refusal may carry more."""
    components = json.loads(json.dumps(document()["components"]))
    for name, schema in components["schemas"].items():
        if name != "Problem" and "properties" in schema:
            schema["additionalProperties"] = False
    strict: Schema = components
    return strict


def faults_of(value: Any, schema: Schema) -> list[str]:
    """Where `value` does not fit a schema of the description, as sentences."""
    validator = Draft202012Validator({**schema, "components": _strict_components()}, format_checker=FORMATS)
    return [f"{error.json_path}: {error.message[:300]}" for error in validator.iter_errors(value)]


def described_at(method: str, route: str) -> Schema | None:
    """The description of a method at a Django route such as `api/v1/lots/<str:number>/`."""
    path = "/" + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)
    found: Schema | None = document()["paths"].get(path, {}).get(method.lower())
    return found


def faults_of_answer(method: str, answer: Any) -> Iterator[str]:
    """How an answer differs from what the description says of it; nothing when it does not."""
    try:
        route = answer.resolver_match.route
    except Resolver404:
        yield from faults_of_problem(answer.json(), answer.status_code)
        return
    described = described_at("GET" if method == "HEAD" else method, route)
    if described is None:
        if answer.status_code != 405:
            yield f"{answer.status_code} from a method that is not described"
        return
    response = described["responses"].get(str(answer.status_code))
    if response is None:
        yield f"{answer.status_code} is not among the answers described: {' '.join(described['responses'])}"
        return
    if answer.streaming or not answer.content:
        return
    kind = answer["Content-Type"].partition(";")[0]
    content = response.get("content", {}).get(kind)
    if content is None:
        yield f"{kind} is not among the forms described for {answer.status_code}"
        return
    yield from faults_of(answer.json(), content["schema"])
    if kind == PROBLEM_JSON:
        yield from faults_of_problem(answer.json(), answer.status_code)


def faults_of_problem(problem: Any, status: int) -> Iterator[str]:
    """What a refusal lacks to be understood: its status, a sentence, and sentences for every field."""
    if problem["status"] != status:
        yield f"the problem says {problem['status']}"
    if not re.search(r"[.)!?]$", problem["detail"]) or len(problem["detail"]) < 12:
        yield f"the detail is no sentence: {problem['detail']!r}"
    for field, sentences in problem.get("errors", {}).items():
        for sentence in sentences:
            if not re.search(r"[.?]$", sentence):
                yield f"the fault of {field} is no sentence: {sentence!r}"


class CheckedApi(Api):
    """The client for the API, which also holds every answer to its description."""

    def call(self, method: str, path: str, body: Any = None, **more: Any) -> Any:
        answer = super().call(method, path, body, **more)
        faults = list(faults_of_answer(method, answer))
        assert not faults, f"{method} {path[:200]} answered {answer.status_code}:\n" + "\n".join(faults)
        return answer
