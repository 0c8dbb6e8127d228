"""What every view of the API stands on: shape in, one action or query, shape out.

`Endpoint` has the acting member, their studio and one reading of the clock; reads bodies and parameters through
shapes, and writes answers with their entity tags. Its `post` runs under `once` by itself. `ListEndpoint` adds
filters, orders, pages and the CSV form of a list.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from http import HTTPStatus
from typing import Any, ClassVar

from django.conf import settings
from django.db.models import Model, QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django_filters import BooleanFilter, Filter, FilterSet, MultipleChoiceFilter
from rest_framework.exceptions import NotAcceptable
from rest_framework.generics import GenericAPIView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.views import APIView

from studio.api.etags import etag as entity_tag
from studio.api.etags import expected_edition, unchanged
from studio.api.fields import Shape, unknown_name
from studio.api.once import once
from studio.api.pagination import PAGING, Pages, order_of, ordered
from studio.api.permissions import acting_member
from studio.api.refusals import TooLarge
from studio.api.rendering import JSON, dump
from studio.api.sheets import SheetForm, sheet
from studio.kernel.errors import Faults, Invalid, NotFound
from studio.models import Member, Studio


class UnknownParameter(Invalid):
    """A query parameter that this address does not have, or one given twice. Nothing is ever silently ignored."""

    code = "unknown-parameter"
    title = "Unknown query parameter"


class Negotiation(DefaultContentNegotiation):
    """The framework's choice of the form of answer, but an unknown `format` is refused as such."""

    def filter_renderers(self, renderers: Any, format: str) -> Any:  # noqa: A002
        found = [renderer for renderer in renderers if renderer.format == format]
        if not found:
            raise NotAcceptable
        return found


class Endpoint(APIView):
    """A view for members of a studio."""

    asks: ClassVar[Mapping[str, type[Shape]]] = {}
    """The query parameters of each method, such as `{"GET": TraceAsk}`; others are refused."""
    harmless: ClassVar[frozenset[str]] = frozenset()
    """Unsafe methods that write nothing, and so are open to readers and read keys."""
    untagged: ClassVar[frozenset[str]] = frozenset()
    """Methods whose answer is a report of many things: it has neither an entity tag nor one place to look at."""
    for_admins: ClassVar[bool] = False
    """Whether changes need an admin key (or the session of the pages)."""

    http_method_names = ["get", "head", "post", "put", "patch", "delete"]
    content_negotiation_class = Negotiation

    by: Member
    studio: Studio
    now: datetime
    asked: dict[str, Any]
    marked = False

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        if "post" in cls.__dict__:
            cls.post = once(cls.__dict__["post"])  # type: ignore[attr-defined]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        method = (request.method or "").lower()
        if method not in self.http_method_names or not hasattr(self, method):
            self.http_method_not_allowed(request)
        refuse_large(request)
        super().initial(request, *args, **kwargs)
        if any("\0" in str(value) for value in kwargs.values()):
            raise NotFound("There is nothing at this address.")
        self.by = acting_member(request)
        self.studio = self.by.studio
        self.now = timezone.now()
        self.asked = self.read_parameters(request)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        final: HttpResponseBase = super().finalize_response(request, response, *args, **kwargs)
        final.headers.setdefault("Cache-Control", "private, no-cache")
        patch_vary_headers(final, ["Authorization", "Cookie"])
        return final

    def read_parameters(self, request: Request) -> dict[str, Any]:
        """The query parameters of this method through its shape; raises `UnknownParameter`."""
        given = {name: value for name, value in request.query_params.items() if name != "format"}
        method = "GET" if request.method == "HEAD" else request.method or ""
        shape = self.asks.get(method, Shape)(data=given, context={"from_text": True})
        refuse_unknown(request, [*shape.fields, "format"])
        shape.is_valid(raise_exception=True)
        return dict(shape.validated_data)

    def read(self, shape: type[Shape], *, partial: bool = False) -> dict[str, Any]:
        """The body through `shape`; with `partial` only the fields that were sent."""
        read = shape(data=self.request.data, partial=partial)
        read.is_valid(raise_exception=True)
        return dict(read.validated_data)

    def edition(self) -> int | None:
        """The edition this change was decided on, from `If-Match`; None means any."""
        return expected_edition(self.request)

    def answer(
        self,
        shape: type[Shape] | None,
        thing: Any,
        *,
        status: int = 200,
        location: str | None = None,
        etag: bool = True,
    ) -> HttpResponse:
        """`thing` through `shape` (or as it is), with its entity tag, or 304 when the asker has it already."""
        body = dump(thing if shape is None else shape(thing).data)
        response = HttpResponse(body, status=status, content_type=JSON)
        if etag:
            tag = entity_tag(getattr(thing, "edition", None), body)
            if self.request.method in ("GET", "HEAD") and unchanged(self.request, tag):
                response = HttpResponse(status=HTTPStatus.NOT_MODIFIED)
            response["ETag"] = tag
        if location:
            response["Location"] = location
        return response

    def created(self, shape: type[Shape] | None, thing: Any, *, location: str) -> HttpResponse:
        """201, with where the new thing is."""
        return self.answer(shape, thing, status=201, location=location)

    def accepted(self, shape: type[Shape] | None, thing: Any, *, location: str) -> HttpResponse:
        """202: the work goes on, and `location` tells how far it is."""
        return self.answer(shape, thing, status=202, location=location, etag=False)

    def nothing(self) -> HttpResponse:
        """204: done, and nothing more to say."""
        return HttpResponse(status=204)

    def remembered_body(self, response: HttpResponse) -> bytes:
        """What a repetition with the same idempotency key is answered; all of it, unless it holds a secret."""
        return response.content


class ListEndpoint(Endpoint, GenericAPIView):
    """A list of rows of one studio: filters, orders, cursor pages, and all of it as CSV."""

    model: ClassVar[type[Model]]
    shape: ClassVar[type[Shape]]
    csv_shape: ClassVar[type[Shape] | None] = None
    filterset_class: ClassVar[type[FilterSet] | None] = None
    orderings: ClassVar[Sequence[str] | Mapping[str, str]]
    ordering: ClassVar[str]
    pagination_class = Pages

    def rows(self) -> QuerySet[Any]:
        """All rows of the list in this studio, before filters; of model instances or of `values()`."""
        raise NotImplementedError

    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        rows = self.filter_queryset(self.rows())
        if request.accepted_renderer.format == SheetForm.format:
            columns = order_of(rows, request, self)
            name = request.path.rstrip("/").rsplit("/", 1)[-1]
            return sheet((self.csv_shape or self.shape)(), ordered(rows, columns), name=name)
        page = self.paginate_queryset(rows)
        return self.get_paginated_response(self.shape(page, many=True).data)

    def get_renderers(self) -> list[BaseRenderer]:
        lists = self.request is None or self.request.method in ("GET", "HEAD")
        return [JSONRenderer(), SheetForm()] if lists else [JSONRenderer()]

    def get_queryset(self) -> QuerySet[Any]:
        return self.model._default_manager.none()

    def read_parameters(self, request: Request) -> dict[str, Any]:
        if request.method not in ("GET", "HEAD"):
            return super().read_parameters(request)
        filters = self.filterset_class.base_filters if self.filterset_class else {}
        many = [name for name, one in filters.items() if isinstance(one, MultipleChoiceFilter)]
        paging = () if request.accepted_renderer.format == SheetForm.format else PAGING
        refuse_unknown(request, [*filters, *paging, "ordering", "format"], repeatable=many)
        refuse_ignored(request, filters)
        return {}


def refuse_large(request: Request) -> None:
    """Raise `TooLarge` for a body beyond what the service reads; its announced length is all that counts."""
    most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    try:
        length = int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return
    if length > most:
        raise TooLarge(
            f"The body has {length} bytes; this service reads at most {most}. Split it.", most=most
        )


def refuse_unknown(request: Request, known: Sequence[str], repeatable: Sequence[str] = ()) -> None:
    """Raise `UnknownParameter` for query parameters that are not `known`, or stand there twice or for nothing."""
    faults = Faults()
    for name, values in request.query_params.lists():
        if name not in known:
            faults.add(name, unknown_name(name, known, "query parameter"))
        elif len(values) > 1 and name not in repeatable:
            faults.add(name, f"The query parameter “{name}” stands there {len(values)} times.")
        elif name == "format" and "" in values:
            faults.add(name, "The query parameter “format” is empty; give it a value or leave it out.")
    if faults:
        first = next(iter(faults.errors.values()))[0]
        raise UnknownParameter(first, errors=faults.errors)


def refuse_ignored(request: Request, filters: Mapping[str, Filter]) -> None:
    """Raise `Invalid` for filters that would be taken for absent and let every row through."""
    faults = Faults()
    for name, one in filters.items():
        text = request.query_params.get(name)
        if text == "":
            faults.add(name, "This filter is empty; give it a value or leave it out.")
        elif isinstance(one, BooleanFilter) and text not in (None, "true", "false"):
            faults.add(name, "Give this as true or false.")
    faults.refuse_if_any()
