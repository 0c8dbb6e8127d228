"""Sealed records and checkpoints over the API, and the two files one may leave with."""

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from studio.actions.checkpoints import checkpoint_now
from studio.actions.studios import refuse_others_than_owners
from studio.api.filters import Filters, MomentFilter
from studio.api.shapes import CheckpointOut, SealedRecordOut, WhyIn
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.downloads import zipped
from studio.models import Checkpoint, SealedRecord
from studio.queries.bundle import write_bundle
from studio.queries.chain import records_of
from studio.queries.checkpoints import checkpoints_of
from studio.queries.leaving_with import write_everything


class RecordFilters(Filters):
    subject = django_filters.CharFilter()
    name = django_filters.CharFilter()
    since = MomentFilter(field_name="sealed_at", lookup_expr="gte")
    before = MomentFilter(field_name="sealed_at", lookup_expr="lt")


class RecordList(ListEndpoint):
    """List the sealed records of the studio, signatures and amendments among them."""

    model, shape, filterset_class = SealedRecord, SealedRecordOut, RecordFilters
    orderings = ("sequence",)
    ordering = "sequence"

    def rows(self) -> QuerySet[SealedRecord]:
        return records_of(self.studio)


class CheckpointList(ListEndpoint):
    """List the checkpoints of the studio."""

    model, shape = Checkpoint, CheckpointOut
    orderings = ("number",)
    ordering = "-number"

    def rows(self) -> QuerySet[Checkpoint]:
        return checkpoints_of(self.studio)

    @extend_schema(request=WhyIn, responses={201: CheckpointOut})
    def post(self, request: Request) -> HttpResponse:
        """Make a checkpoint now; who asked for it, and why, is noted in the history."""
        made = checkpoint_now(by=self.by, at=self.now, **self.read(WhyIn))
        return self.created(CheckpointOut, made, location="/api/v1/checkpoints/")


class ZipForm(BaseRenderer):
    """Names the form of answer for the choice by `Accept`; the writing is the view's."""

    media_type = "application/zip"
    format = "zip"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        raise TypeError("A zip file is streamed by its view.")


class ZipEndpoint(Endpoint):
    """A view whose answer is a zip file; refusals are told in JSON as everywhere."""

    def get_renderers(self) -> list[BaseRenderer]:
        return [ZipForm(), JSONRenderer()]


class BundleView(ZipEndpoint):
    """The records as they verify themselves."""

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request) -> HttpResponseBase:
        """Fetch records, seals, signatures and checkpoints in a zip file that verifies itself."""
        return zipped("records.zip", lambda file: write_bundle(self.studio, file))


class EverythingView(ZipEndpoint):
    """Leaving with everything."""

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request) -> HttpResponseBase:
        """Fetch everything of the studio, as JSON lines and CSV; owners only."""
        refuse_others_than_owners(self.by)
        return zipped("studio.zip", lambda file: write_everything(studio=self.studio, at=self.now, into=file))
