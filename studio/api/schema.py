"""The description of the API: what every operation has in common is said here, once.

The generator knows shapes, paths and filters. This adds the refusals each kind of operation can answer, the headers
for idempotency and editions, the two ways to sign in, and takes summary and description from the handler's docstring.
"""

import inspect
from typing import Any, cast

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ComponentRegistry, ResolvedComponent

from studio.api.problems import PROBLEM_JSON
from studio.api.views import Endpoint, ListEndpoint

REFUSED = {
    400: "The input is not valid.",
    401: "Not signed in.",
    403: "The member or the key may not do this.",
    404: "No such thing in this studio.",
    406: "Not available in the form asked for.",
    409: "Not possible as things stand.",
    412: "Changed since it was read.",
    413: "The body is too large.",
    415: "The body is of a kind not read here.",
    422: "The idempotency key was used for another request.",
    428: "If-Match is missing.",
    429: "Too many requests; see Retry-After.",
    503: "Busy; nothing was done. See Retry-After.",
}
ALWAYS = (400, 401, 403, 404, 406, 429, 503)
WITH_BODY = (409, 413, 415)
BY_METHOD = {
    "GET": (),
    "POST": (*WITH_BODY, 412, 422),
    "PATCH": (*WITH_BODY, 412, 428),
    "PUT": (*WITH_BODY, 412, 428),
    "DELETE": (409, 412, 428),
}
PROBLEM = {
    "type": "object",
    "description": "A refusal, RFC 9457. Some kinds carry further members with the numbers of the case.",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference", "examples": ["/problems/invalid"]},
        "title": {"type": "string", "examples": ["The input is not valid"]},
        "status": {"type": "integer", "examples": [400]},
        "detail": {"type": "string", "examples": ["mass: The mass must be more than zero."]},
        "instance": {"type": "string", "format": "uri-reference"},
        "errors": {
            "type": "object",
            "description": "Sentences by dotted path of the field.",
            "additionalProperties": {"type": "array", "items": {"type": "string"}},
        },
    },
    "additionalProperties": True,
}
RETRY_AFTER = {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait."}}
IDEMPOTENCY_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "A text in quotes of your choice. A repetition with the same key gets the first answer again.",
    "schema": {"type": "string", "maxLength": 300, "examples": ['"3f1c-7a"']},
}
IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "description": "The ETag that was last read, or * to change whatever is there.",
    "schema": {"type": "string", "examples": ['"3-0123456789abcdef"']},
}
IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "description": "The ETag that is already there; answered by 304 when nothing changed.",
    "schema": {"type": "string"},
}
ETAG = {"ETag": {"schema": {"type": "string"}, "description": "The edition and a digest of this answer."}}
LOCATION = {"Location": {"schema": {"type": "string"}, "description": "Where the new thing is."}}
LINK = {"Link": {"schema": {"type": "string"}, "description": 'The next page, as rel="next" (RFC 8288).'}}


class Described(AutoSchema):
    """The schema of one operation."""

    def get_operation(
        self, path: str, path_regex: str, path_prefix: str, method: str, registry: ComponentRegistry
    ) -> dict[str, Any] | None:
        operation = super().get_operation(path, path_regex, path_prefix, method, registry)
        if operation is None or not isinstance(self.view, Endpoint):
            return operation
        registry.register_on_missing(
            ResolvedComponent(name="Problem", type=ResolvedComponent.SCHEMA, schema=PROBLEM, object="Problem")
        )
        self._describe_success(operation["responses"])
        for status in sorted({*ALWAYS, *BY_METHOD[self.method]}):
            operation["responses"].setdefault(str(status), _refusal(status))
        return operation

    def get_summary(self) -> str | None:
        return self._docstring().partition("\n\n")[0].replace("\n", " ") or None

    def get_description(self) -> str:  # type: ignore[override]
        return self._docstring().partition("\n\n")[2]

    def _docstring(self) -> str:
        """Of the handler; a list, which inherits its `get`, is told by its own class."""
        kind = type(self.view)
        teller = kind.__dict__.get(self.method.lower(), kind)
        plain = f"List the {self._tokenize_path()[-1]}." if self._is_list_view() else ""
        return inspect.cleandoc(teller.__doc__ or plain)

    def get_operation_id(self) -> str:
        """Of a verb such as `hold/` the path alone says what is done; else the method is named too."""
        if self.method == "POST" and not isinstance(self.view, ListEndpoint):
            return "_".join(self._tokenize_path()).replace("-", "_")
        return cast(str, super().get_operation_id())

    def get_paginated_name(self, serializer_name: str) -> str:
        return f"{serializer_name.removesuffix('Out')}Page"

    def get_override_parameters(self) -> list[Any]:
        shape = getattr(self.view, "asks", {}).get(self.method)
        return [] if shape is None else [shape]

    def get_response_serializers(self) -> Any:
        if isinstance(self.view, ListEndpoint) and self.method == "GET":
            return self.view.shape
        return super().get_response_serializers()

    def _is_list_view(self, serializer: Any = None) -> bool:
        return isinstance(self.view, ListEndpoint) and self.method == "GET"

    def _get_parameters(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = super()._get_parameters()
        return found + self._headers() if isinstance(self.view, Endpoint) else found

    def _headers(self) -> list[dict[str, Any]]:
        if self.method == "POST":
            return [IDEMPOTENCY_KEY]
        if self.method == "GET":
            return [] if self._is_list_view() else [IF_NONE_MATCH]
        return [IF_MATCH]

    def _describe_success(self, responses: dict[str, Any]) -> None:
        tagged = self.method not in cast(Endpoint, self.view).untagged
        for status, response in list(responses.items()):
            if not status.startswith("2"):
                continue
            response["description"] = response.get("description") or "Done."
            headers: dict[str, Any] = {}
            if self._is_list_view():
                headers |= LINK
                response["content"]["text/csv"] = {"schema": {"type": "string"}}
            elif status in ("200", "201") and tagged:
                headers |= ETAG
            if (status in ("201", "202") or "202" in responses) and tagged:
                headers |= LOCATION
            if headers:
                response["headers"] = {**headers, **response.get("headers", {})}
        if self.method == "GET" and not self._is_list_view():
            responses.setdefault("304", {"description": "Not changed since it was read.", "headers": ETAG})


def _refusal(status: int) -> dict[str, Any]:
    content = {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    headers = {"headers": RETRY_AFTER} if status in (429, 503) else {}
    return {"description": REFUSED[status], "content": content, **headers}


class FieldDescription(OpenApiSerializerFieldExtension):
    """Lets the fields of this API speak for themselves."""

    target_class = "studio.api.fields.DescribedField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        return cast(dict[str, Any], self.target.described(direction))


class KeyScheme(OpenApiAuthenticationExtension):
    """A bearer key."""

    target_class = "studio.api.authentication.BearerKey"
    name = "key"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A key of a member: `Authorization: Bearer still_…`.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    """The session of the pages."""

    target_class = "studio.api.authentication.PageSession"
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The session of the pages; changes also need the header X-CSRFToken.",
        }
