"""The reference of the API: its description for machines, and a page of the same for people.

The page is made from the description, so the two never differ. Its examples are drawn from the shapes. Everything is
built once for each process; it needs no script and no other host.
"""

import functools
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiYamlRenderer

from studio.api.problems import catalogue, problem
from studio.api.refusals import FormUnavailable
from studio.api.rendering import JSON, dump

DEEPEST = 9


@dataclass(frozen=True, slots=True)
class Parameter:
    name: str
    place: str
    required: bool
    meaning: str
    values: str


@dataclass(frozen=True, slots=True)
class Answer:
    status: str
    meaning: str
    example: str


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation as the page shows it; examples are indented JSON, or empty."""

    name: str
    method: str
    path: str
    summary: str
    description: str
    parameters: list[Parameter]
    body: str
    needed: str
    answers: list[Answer]
    refusals: str


@dataclass(frozen=True, slots=True)
class Group:
    name: str
    operations: list[Operation]


@functools.cache
def document() -> dict[str, Any]:
    """The OpenAPI description."""
    described: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return described


@functools.cache
def written(form: str) -> bytes:
    """The description as JSON or YAML."""
    return dump(document()) if form == "json" else OpenApiYamlRenderer().render(document())


@require_safe
def schema(request: HttpRequest) -> HttpResponse:
    """The OpenAPI 3.1 description; `?format=yaml` for YAML."""
    form = request.GET.get("format", "json")
    if form not in ("json", "yaml"):
        return problem(request, FormUnavailable("The description is there as json and as yaml."))
    return HttpResponse(written(form), content_type=f"application/{form}")


@require_safe
def reference(request: HttpRequest) -> HttpResponse:
    """The reference for people."""
    return render(request, "studio/reference.html", {"groups": groups(), "info": document()["info"]})


@require_safe
def problem_list(request: HttpRequest) -> HttpResponse:
    """Every kind of problem, for machines."""
    return HttpResponse(dump({"items": catalogue()}), content_type=JSON)


@require_safe
def problem_page(request: HttpRequest, code: str | None = None) -> HttpResponse:
    """What a kind of problem means, or all of them, for people."""
    kinds = [kind for kind in catalogue() if code in (None, kind.code)]
    if not kinds:
        raise Http404
    return render(request, "studio/problems.html", {"kinds": kinds, "one": code is not None})


@functools.cache
def groups() -> list[Group]:
    """The operations by resource, in the order of their paths."""
    found: dict[str, list[Operation]] = {}
    for path, methods in sorted(document()["paths"].items()):
        for method, operation in methods.items():
            found.setdefault(operation["tags"][0], []).append(_operation(path, method, operation))
    return [Group(name, operations) for name, operations in found.items()]


def _operation(path: str, method: str, operation: dict[str, Any]) -> Operation:
    answers = operation["responses"].items()
    return Operation(
        name=operation["operationId"],
        method=method.upper(),
        path=path,
        summary=operation.get("summary", ""),
        description=operation.get("description", "").replace("`", ""),
        parameters=[_parameter(parameter) for parameter in operation.get("parameters", [])],
        body=_content_example(operation.get("requestBody", {})),
        needed=", ".join(_needed(operation.get("requestBody", {}))),
        answers=[
            Answer(status, answer["description"], _content_example(answer))
            for status, answer in answers
            if status < "400"
        ],
        refusals=", ".join(status for status, _ in answers if status >= "400"),
    )


def _parameter(parameter: dict[str, Any]) -> Parameter:
    described = parameter["schema"]
    words = (
        described.get("enum")
        or described.get("examples")
        or [described.get("format") or described.get("type")]
    )
    return Parameter(
        name=parameter["name"],
        place=parameter["in"],
        required=parameter.get("required", False),
        meaning=parameter.get("description", "") or described.get("description", ""),
        values=" · ".join(_words(words)),
    )


def _words(values: Iterable[Any]) -> list[str]:
    return [str(value) for value in values if value is not None]


def _needed(body: dict[str, Any]) -> list[str]:
    """The fields that a body must have."""
    described = body.get("content", {}).get(JSON, {}).get("schema", {})
    needed: list[str] = _resolved(described).get("required", [])
    return needed


def _resolved(described: dict[str, Any]) -> dict[str, Any]:
    if "$ref" not in described:
        return described
    found: dict[str, Any] = document()["components"]["schemas"][described["$ref"].rsplit("/", 1)[-1]]
    return found


def _content_example(holder: dict[str, Any]) -> str:
    described = holder.get("content", {}).get(JSON, {}).get("schema")
    return "" if described is None else json.dumps(example(described), indent=2, ensure_ascii=False)


def example(described: dict[str, Any], depth: int = 0) -> Any:
    """A value that fits a JSON Schema of the description."""
    described = _resolved(described)
    for given in ("examples", "enum"):
        if described.get(given):
            return described[given][0]
    if "default" in described:
        return described["default"]
    for choice in ("allOf", "oneOf", "anyOf"):
        if described.get(choice):
            return example(described[choice][0], depth)
    kind = described.get("type", "object")
    kind = kind if isinstance(kind, str) else kind[0]
    if kind == "object":
        fields = described.get("properties", {}) if depth < DEEPEST else {}
        return {name: example(field, depth + 1) for name, field in fields.items()}
    if kind == "array":
        one = [example(described.get("items", {}), depth + 1)] if depth < DEEPEST else []
        return one * max(1, described.get("minItems", 1))
    return {"integer": max(1, described.get("minimum", 1)), "number": 1, "boolean": True, "null": None}.get(
        kind, "text"
    )
