"""Pages of a list by cursor: the next page starts behind the last row seen, however the list grows meanwhile.

The order is any of the list's named orderings, always ended by the key, with empty values last on both engines. A
cursor is the last row's values under a signature over the list, its order, its filters and the studio, so one that
was altered, or belongs to another list, is refused. A page costs one statement; nothing is counted.
"""

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.core.exceptions import ValidationError
from django.db.models import F, Field, Model, Q, QuerySet
from django.http import HttpResponse
from rest_framework.pagination import BasePagination
from rest_framework.request import Request

from studio.api.rendering import JSON, dump
from studio.kernel.errors import Invalid

DEFAULT_LIMIT = 50
MOST = 200
PAGING = ("limit", "cursor")


class BadCursor(Invalid):
    """The cursor was not given out for this list with this order and these filters, or was altered."""

    code = "bad-cursor"
    title = "Unusable cursor"


class BadPage(Invalid):
    """`limit` or `ordering` is not one of those that this list has."""

    code = "bad-page"
    title = "No such page"


@dataclass(frozen=True, slots=True)
class Column:
    """One step of an order: an ORM path (or annotation), its direction, and whether it can be empty."""

    path: str
    descending: bool
    nullable: bool
    field: "Field[Any, Any]"


class Pages(BasePagination):
    """Cursor pages for a `ListEndpoint`, which names its `orderings` and its default `ordering`."""

    following: str | None = None

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        limit = read_limit(request)
        columns = order_of(queryset, request, view)
        salt = _salt(request, view, columns)
        cursor = request.query_params.get("cursor")
        rows = ordered(queryset, columns)
        if cursor is not None:
            rows = rows.filter(behind(columns, read_cursor(cursor, salt, columns)))
        found = list(rows[: limit + 1])
        if len(found) > limit:
            found.pop()
            self.following = _next_url(request, write_cursor(found[-1], salt, columns))
        return found

    def get_paginated_response(self, data: Any) -> HttpResponse:  # type: ignore[override]
        response = HttpResponse(dump({"items": data, "next": self.following}), content_type=JSON)
        if self.following:
            response["Link"] = f'<{self.following}>; rel="next"'
        return response

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["items", "next"],
            "properties": {
                "items": schema,
                "next": {
                    "type": ["string", "null"],
                    "format": "uri",
                    "description": "Address of the next page; null on the last.",
                },
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        names = "|".join(map(str, orderings_of(view)))
        return [
            {
                "name": "limit",
                "in": "query",
                "description": "Rows on a page.",
                "schema": {"type": "integer", "minimum": 1, "maximum": MOST, "default": DEFAULT_LIMIT},
            },
            {
                "name": "cursor",
                "in": "query",
                "description": "Where the page starts, as found in `next`.",
                "schema": {"type": "string"},
            },
            {
                "name": "ordering",
                "in": "query",
                "description": "Names separated by commas, each with a minus for descending; empty values last.",
                "schema": {
                    "type": "string",
                    "pattern": f"^-?({names})(,-?({names}))*$",
                    "default": view.ordering,
                },
            },
        ]


def orderings_of(view: Any) -> dict[str, str]:
    """The public names of a list's orderings with their ORM paths."""
    named = view.orderings
    return dict(named) if isinstance(named, Mapping) else {name: name for name in named}


def read_limit(request: Request) -> int:
    text = request.query_params.get("limit")
    if text is None:
        return DEFAULT_LIMIT
    if not (text.isascii() and text.isdigit() and len(text) < 6 and 1 <= int(text) <= MOST):
        raise BadPage(f"limit is a whole number from 1 to {MOST}.", errors={"limit": [f"From 1 to {MOST}."]})
    return int(text)


def order_of(queryset: QuerySet[Any], request: Request, view: Any) -> list[Column]:
    """The columns of the order asked for, or of the list's own, ended by the key in the first one's direction."""
    known = orderings_of(view)
    columns: list[Column] = []
    for name in request.query_params.get("ordering", view.ordering).split(","):
        path = known.get(name.removeprefix("-"))
        if path is None or path in [column.path for column in columns]:
            sentence = f"ordering takes each of {', '.join(known)} once, with a minus for descending."
            raise BadPage(sentence, errors={"ordering": [sentence]})
        field, nullable = _field(queryset, path)
        columns.append(Column(path, name.startswith("-"), nullable, field))
    key = queryset.model._meta.pk
    return [*columns, Column("pk", columns[0].descending, False, key)]


def _field(queryset: QuerySet[Any], path: str) -> "tuple[Field[Any, Any], bool]":
    """The field at the end of an ORM path, and whether the value can be empty; an annotation always can."""
    if path in queryset.query.annotations:
        return queryset.query.annotations[path].output_field, True
    model: Any = queryset.model
    nullable = False
    for part in path.split("__"):
        field = model._meta.get_field(part)
        nullable = nullable or field.null
        model = field.related_model
    return field, nullable


def ordered(queryset: QuerySet[Any], columns: Sequence[Column]) -> QuerySet[Any]:
    terms = []
    for column in columns:
        last = {"nulls_last": True} if column.nullable else {}
        terms.append(F(column.path).desc(**last) if column.descending else F(column.path).asc(**last))
    return queryset.order_by(*terms)


def behind(columns: Sequence[Column], values: Sequence[Any]) -> Q:
    """The condition for rows that come after one with these `values` in this order."""
    column, value = columns[0], values[0]
    beyond = {f"{column.path}__{'lt' if column.descending else 'gt'}": value}
    here = {f"{column.path}__isnull": True} if value is None else {column.path: value}
    if len(columns) == 1:
        return Q(**beyond)
    ties = Q(**here) & behind(columns[1:], values[1:])
    if value is None:
        return ties
    if column.nullable:
        return Q(**beyond) | ties | Q(**{f"{column.path}__isnull": True})
    # The outer bound says nothing new, but lets the database start in the middle of an index.
    outer = Q(**{f"{column.path}__{'lte' if column.descending else 'gte'}": value})
    return outer & (Q(**beyond) | ties)


def write_cursor(row: Any, salt: str, columns: Sequence[Column]) -> str:
    return signing.dumps([_text(_value(row, column.path)) for column in columns], salt=salt)


def read_cursor(cursor: str, salt: str, columns: Sequence[Column]) -> list[Any]:
    """The values in a cursor, typed again by their fields; raises `BadCursor`."""
    try:
        values = signing.loads(cursor, salt=salt)
        return [
            None if value is None else column.field.to_python(value)
            for column, value in zip(columns, values, strict=True)
        ]
    except (signing.BadSignature, ValidationError, ValueError):
        raise BadCursor(
            "This cursor was not given out for this list with this order and these filters. Start at the first page."
        ) from None


def _value(row: Any, path: str) -> Any:
    if isinstance(row, Mapping):
        return row["id"] if path == "pk" and "pk" not in row else row[path]
    return functools.reduce(
        lambda thing, part: None if thing is None else getattr(thing, part), path.split("__"), row
    )


def _text(value: Any) -> Any:
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    return value.pk if isinstance(value, Model) else value


def _salt(request: Request, view: Any, columns: Sequence[Column]) -> str:
    order = ",".join(f"{'-' if column.descending else ''}{column.path}" for column in columns)
    filters = sorted(
        (name, request.query_params.getlist(name))
        for name in request.query_params
        if name not in (*PAGING, "ordering")
    )
    return f"pages of studio {view.studio.pk}, {request.path}, {order}, {filters}"


def _next_url(request: Request, cursor: str) -> str:
    query = [
        (name, value) for name, values in request.query_params.lists() for value in values if name != "cursor"
    ]
    return request.build_absolute_uri(f"{request.path}?{urlencode([*query, ('cursor', cursor)])}")
