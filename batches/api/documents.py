"""Documents over the API: asking for papers, following their making, fetching them; and the rows of each as CSV."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from batches.actions.documents import ask_for
from batches.api.document_shapes import DocumentOut, LabelIn, LabelsIn, PaperAsk
from batches.api.references import batch_number
from batches.calc.label_layout import LabelLayout, Sheet
from batches.models.documents import Document, DocumentKind, DocumentState, WantedPaper
from batches.papers import count_list, day_sheet, labels, recall, serving_sheet, ticket
from batches.queries.count_lists import count_list_of
from batches.queries.documents import document_at, documents_of, made_document
from batches.queries.labels import labels_of
from batches.queries.making_days import day_sheet_of
from batches.queries.recalls import recall_of
from batches.queries.serving_sheets import serving_sheet_of
from batches.queries.tickets import ticket_of
from batches.queries.wanted_papers import (
    wanted_count_list,
    wanted_day_sheet,
    wanted_labels,
    wanted_recall,
    wanted_servings,
    wanted_ticket,
)
from inventory.api.references import lot_numbered
from studio.api.etags import etag, unchanged
from studio.api.filters import Filters
from studio.api.problems import PROBLEM_JSON
from studio.api.sheets import SheetForm, rows_sheet
from studio.api.views import Endpoint, ListEndpoint

SHEET: Any = {(200, "text/csv"): OpenApiTypes.STR}
FILE: Any = {
    (200, "application/pdf"): OpenApiTypes.BINARY,
    (409, PROBLEM_JSON): {"$ref": "#/components/schemas/Problem"},
}
ASKED: Any = {200: DocumentOut, 202: DocumentOut}


class PaperForm(BaseRenderer):
    """Names the form of a downloaded document for the choice by `Accept` and `format`."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        raise TypeError("A document is handed out as it was made.")


class DocumentFilters(Filters):
    kind = django_filters.MultipleChoiceFilter(choices=DocumentKind.choices)
    state = django_filters.MultipleChoiceFilter(choices=DocumentState.choices)
    subject = django_filters.CharFilter(max_length=10)
    name = django_filters.CharFilter(max_length=40)

    class Meta:
        model = Document
        fields: list[str] = []


class DocumentList(ListEndpoint):
    """List the documents of the studio, also those that were removed."""

    model, shape, filterset_class = Document, DocumentOut, DocumentFilters
    orderings = ("asked_at",)
    ordering = "-asked_at"

    def rows(self) -> QuerySet[Document]:
        return documents_of(self.studio)


class DocumentDetail(Endpoint):
    @extend_schema(responses=DocumentOut)
    def get(self, request: Request, document_id: int) -> HttpResponse:
        """Read a document: how far its making is, and once it is made its digest and size."""
        return self.answer(DocumentOut, document_at(studio=self.studio, document_id=document_id))


class DocumentFile(Endpoint):
    def get_renderers(self) -> list[BaseRenderer]:
        return [PaperForm()]

    @extend_schema(responses=FILE)
    def get(self, request: Request, document_id: int) -> HttpResponseBase:
        """Fetch the file of a document; refused while it is being made, or when it was removed."""
        document = made_document(studio=self.studio, document_id=document_id)
        data = bytes(document.result or b"")
        return handed_out(request, data, kind=document.media_type, name=document.file_name)


class PaperEndpoint(Endpoint):
    """A paper of a thing: its rows as CSV at once, or the PDF as a document that is made in the background."""

    def get_renderers(self) -> list[BaseRenderer]:
        reads = self.request is not None and self.request.method in ("GET", "HEAD")
        return [SheetForm()] if reads else [JSONRenderer()]

    def asked_for(self, wanted: WantedPaper, *, again: bool = False) -> HttpResponse:
        """202 while it is made, 200 when it is there; Location is where it can be followed and fetched."""
        asked = ask_for(by=self.by, now=self.now, wanted=wanted, again=again)
        document = document_at(studio=self.studio, document_id=asked.pk)
        status = 200 if document.state == DocumentState.MADE else 202
        location = f"/api/v1/documents/{document.pk}/"
        return self.answer(DocumentOut, document, status=status, location=location, etag=status == 200)

    def rows_of(self, columns: Sequence[str], rows: Iterable[Sequence[Any]], name: str) -> HttpResponseBase:
        """Rows as a sheet called `name`."""
        sheet = rows_sheet(columns, rows)
        return handed_out(self.request, sheet, kind="text/csv; charset=utf-8", name=f"{name}.csv")


class BatchTicket(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, number: str) -> HttpResponseBase:
        """Read the ticket or record of a batch as CSV: a row for each weighing, and for each line without one."""
        found = ticket_of(studio=self.studio, number=batch_number(self.studio, number))
        return self.rows_of(ticket.COLUMNS, ticket.ticket_rows(found), f"ticket-{found.number}")

    @extend_schema(request=PaperAsk, responses=ASKED)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Ask for the ticket of a batch, after closing its record, as PDF.

        Answered by 202 and a Location to follow, or by 200 when it is made already: unchanged content is made once.
        With `again` another copy is printed, which bears the next number.
        """
        again = self.read(PaperAsk).get("again", False)
        wanted = wanted_ticket(studio=self.studio, number=batch_number(self.studio, number))
        return self.asked_for(wanted, again=again)


class LotLabel(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, number: str) -> HttpResponseBase:
        """Read what the label of a lot says as CSV, its code included."""
        found = labels_of(studio=self.studio, numbers=[lot_numbered(self.studio, number).number])
        return self.rows_of(labels.COLUMNS, labels.label_rows(found), f"label-{found.labels[0].lot}")

    @extend_schema(request=LabelIn, responses=ASKED)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Ask for the label of a lot as PDF, of the size given or on a sheet. Answered like a ticket."""
        layout = layout_of(self.read(LabelIn))
        lot = lot_numbered(self.studio, number)
        return self.asked_for(wanted_labels(studio=self.studio, numbers=[lot.number], layout=layout))


class Labels(PaperEndpoint):
    @extend_schema(request=LabelsIn, responses=ASKED)
    def post(self, request: Request) -> HttpResponse:
        """Ask for the labels of many lots as PDF, one a page or on sheets. Answered like a ticket."""
        told = self.read(LabelsIn)
        numbers = told.pop("lots")
        return self.asked_for(wanted_labels(studio=self.studio, numbers=numbers, layout=layout_of(told)))


class LotRecall(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, number: str) -> HttpResponseBase:
        """Read everything a lot went into as CSV."""
        found = recall_of(studio=self.studio, number=lot_numbered(self.studio, number).number)
        return self.rows_of(recall.COLUMNS, recall.recall_rows(found), f"recall-{found.lot}")

    @extend_schema(request=PaperAsk, responses=ASKED)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Ask for the recall report of a lot as PDF. Answered like a ticket."""
        again = self.read(PaperAsk).get("again", False)
        lot = lot_numbered(self.studio, number)
        return self.asked_for(wanted_recall(studio=self.studio, number=lot.number), again=again)


class ShelfCountList(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, shelf_id: int) -> HttpResponseBase:
        """Read the list for counting a shelf as CSV, with empty columns for what is found."""
        found = count_list_of(studio=self.studio, shelf_id=shelf_id)
        return self.rows_of(count_list.COLUMNS, count_list.count_list_rows(found), f"count-{shelf_id}")

    @extend_schema(request=PaperAsk, responses=ASKED)
    def post(self, request: Request, shelf_id: int) -> HttpResponse:
        """Ask for the list for counting a shelf as PDF. Answered like a ticket."""
        again = self.read(PaperAsk).get("again", False)
        return self.asked_for(wanted_count_list(studio=self.studio, shelf_id=shelf_id), again=again)


class PanelSheet(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, panel_id: int) -> HttpResponseBase:
        """Read the sheet of a panel's trays as CSV: the numbers from the left, and empty columns for the answers."""
        found = serving_sheet_of(studio=self.studio, panel_id=panel_id)
        rows = serving_sheet.serving_sheet_rows(found)
        return self.rows_of(serving_sheet.COLUMNS, rows, f"servings-{panel_id}")

    @extend_schema(request=PaperAsk, responses=ASKED)
    def post(self, request: Request, panel_id: int) -> HttpResponse:
        """Ask for the sheet of a panel's trays as PDF; it holds nothing of the key. Answered like a ticket."""
        again = self.read(PaperAsk).get("again", False)
        return self.asked_for(wanted_servings(studio=self.studio, panel_id=panel_id), again=again)


class MakingDay(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request, day: date) -> HttpResponseBase:
        """Read what is to be made on a day as CSV, a row for each lot that a batch takes."""
        found = day_sheet_of(studio=self.studio, day=day)
        return self.rows_of(day_sheet.COLUMNS, day_sheet.day_sheet_rows(found), f"making-{day.isoformat()}")

    @extend_schema(request=PaperAsk, responses=ASKED)
    def post(self, request: Request, day: date) -> HttpResponse:
        """Ask for the sheet of a making day as PDF. Answered like a ticket."""
        again = self.read(PaperAsk).get("again", False)
        return self.asked_for(wanted_day_sheet(studio=self.studio, day=day), again=again)


def handed_out(request: Request, data: bytes, *, kind: str, name: str) -> HttpResponseBase:
    """A file to be kept under this name, or 304 when the asker has it already."""
    tag = etag(None, data)
    if unchanged(request, tag):
        return HttpResponse(status=304, headers={"ETag": tag})
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "ETag": tag}
    return StreamingHttpResponse(iter([data]), content_type=kind, headers=headers)


def layout_of(told: dict[str, Any]) -> LabelLayout:
    """The layout that a body or form tells; what is left out is as it is when nothing is said."""
    sheet = told.pop("sheet", None)
    return LabelLayout(**told, sheet=Sheet(**sheet) if sheet else None)
