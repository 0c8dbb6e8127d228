"""Papers on the pages: asking for one, watching it being made, finding it again."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from batches.actions.documents import ask_for
from batches.calc.label_layout import LabelLayout, Sheet
from batches.models.documents import DocumentKind, WantedPaper
from batches.pages.batch import batch_number
from batches.queries.documents import (
    document_at,
    documents_of,
    last_layout,
    made_document,
    prints_of,
)
from batches.queries.wanted_papers import (
    wanted_count_list,
    wanted_day_sheet,
    wanted_labels,
    wanted_recall,
    wanted_servings,
    wanted_ticket,
)
from inventory.queries.finding import lot_at, lot_number
from inventory.queries.shelf import lots_of
from studio.kernel.errors import Faults
from studio.models import Member, Studio
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import faults_into, is_partial, on_to, sent, shown
from studio.pages.fields import Number, Text, Whole, YesNo
from studio.pages.listing import Listing
from studio.pages.once import once

MOST_CHOSEN = 1000


class LabelForm(forms.Form):
    """Which lots, and the size and place of their labels in millimetres."""

    lots = Text(
        longest=20_000, lines=True, label="Lots", help_text="A number on each line; scan or paste them."
    )
    width_mm = Number(places=1, label="Width", help_text="mm")
    height_mm = Number(places=1, label="Height", help_text="mm")
    on_sheet = YesNo(
        label="On a sheet with several labels", help_text="Otherwise each label is a page of its own."
    )
    columns = Whole(required=False, label="Columns")
    rows = Whole(required=False, label="Rows")
    start = Whole(required=False, label="First free place", help_text="Counted by rows, from 1.")
    left_mm = Number(places=1, required=False, label="Left margin", help_text="mm")
    top_mm = Number(places=1, required=False, label="Top margin", help_text="mm")
    gap_x_mm = Number(places=1, required=False, label="Gap between columns", help_text="mm")
    gap_y_mm = Number(places=1, required=False, label="Gap between rows", help_text="mm")
    page_width_mm = Number(places=1, required=False, label="Paper's width", help_text="mm")
    page_height_mm = Number(places=1, required=False, label="Paper's height", help_text="mm")

    def layout(self) -> LabelLayout:
        """The layout as typed; what was left empty is as it is when nothing is said."""
        told = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        sheet = {name: told[name] for name in Sheet.__dataclass_fields__ if name in told}
        return LabelLayout(
            width_mm=told["width_mm"],
            height_mm=told["height_mm"],
            sheet=Sheet(**sheet) if told.get("on_sheet") else None,
        )

    def numbers(self, studio: Studio) -> list[str]:
        """The numbers of the lots that are named; raises `Invalid` naming every line that names none."""
        faults = Faults()
        numbers = []
        for line in filter(None, (line.strip() for line in self.cleaned_data["lots"].splitlines())):
            number = lot_number(line, studio)
            if number is None:
                faults.add("lots", f"“{line[:40]}” is no lot number.")
            else:
                numbers.append(number)
        faults.refuse_if_any()
        return numbers


@require_safe
@for_members
def documents(request: HttpRequest, member: Member) -> HttpResponse:
    """Every paper that was asked for, the newest first."""
    kind = request.GET.get("kind", "")
    rows: Any = documents_of(member.studio)
    if kind in DocumentKind.values:
        rows = rows.filter(kind=kind)
    context = {
        "listing": Listing.of(rows.order_by("-id"), request),
        "kind": kind,
        "kinds": DocumentKind.values,
        "days": member.studio.document_days,
    }
    return shown(request, "batches/documents.html", context)


@require_safe
@for_members
def document(request: HttpRequest, member: Member, document_id: int) -> HttpResponse:
    """One paper: how far it is, and then the paper itself."""
    found = document_at(studio=member.studio, document_id=document_id)
    prints = prints_of(studio=member.studio, kind=DocumentKind(found.kind), name=found.name)
    context = {"document": found, "prints": [one for one in prints if one.pk != found.pk][:20]}
    template = "batches/parts/document.html" if is_partial(request) else "batches/document.html"
    return shown(request, template, context)


@require_safe
@for_members
def file(request: HttpRequest, member: Member, document_id: int) -> HttpResponse:
    """The paper itself, shown by the browser."""
    found = made_document(studio=member.studio, document_id=document_id)
    how = "attachment" if "keep" in request.GET else "inline"
    return HttpResponse(
        bytes(found.result or b""),
        content_type=found.media_type,
        headers={"Content-Disposition": f'{how}; filename="{found.file_name}"'},
    )


@require_POST
@for_makers
@once
def print_ticket(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Ask for the ticket of a batch; `again` for another copy."""
    wanted = wanted_ticket(studio=member.studio, number=batch_number(number))
    return _asked(request, member, wanted, again="again" in request.POST)


@require_POST
@for_makers
@once
def print_recall(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Ask for the recall report of a lot."""
    lot = lot_at(lots_of(member.studio), number)
    return _asked(request, member, wanted_recall(studio=member.studio, number=lot.number))


@require_POST
@for_makers
@once
def print_count_list(request: HttpRequest, member: Member, shelf_id: int) -> HttpResponse:
    """Ask for the list for counting a shelf."""
    return _asked(request, member, wanted_count_list(studio=member.studio, shelf_id=shelf_id))


@require_POST
@for_makers
@once
def print_servings(request: HttpRequest, member: Member, panel_id: int) -> HttpResponse:
    """Ask for the sheet of a panel's trays."""
    return _asked(request, member, wanted_servings(studio=member.studio, panel_id=panel_id))


@require_POST
@for_makers
@once
def print_day_sheet(request: HttpRequest, member: Member, day: date) -> HttpResponse:
    """Ask for the sheet of a making day."""
    return _asked(request, member, wanted_day_sheet(studio=member.studio, day=day))


@require_http_methods(["GET", "HEAD", "POST"])
@for_makers
@once
def print_labels(request: HttpRequest, member: Member) -> HttpResponse:
    """Labels of the lots that are named, of the size that was used last."""
    chosen = "\n".join(request.GET.getlist("lot")[:MOST_CHOSEN])
    form = LabelForm(sent(request), initial={**_used_last(member.studio), "lots": chosen})
    if form.is_valid():
        with faults_into(form):
            wanted = wanted_labels(
                studio=member.studio, numbers=form.numbers(member.studio), layout=form.layout()
            )
    if form.is_valid():
        return _asked(request, member, wanted)
    return shown(request, "batches/labels.html", {}, form)


def _used_last(studio: Studio) -> dict[str, Any]:
    used = last_layout(studio)
    sheet = used.pop("sheet", None)
    plain = {"width_mm": "60", "height_mm": "30", **used, **(sheet or {}), "on_sheet": bool(sheet)}
    told = {name: _short(value) if name.endswith("_mm") else value for name, value in plain.items()}
    return {**told, "start": 1 if sheet else None}


def _short(millimetres: str) -> str:
    return f"{Decimal(millimetres).normalize():f}"


def _asked(request: HttpRequest, member: Member, wanted: WantedPaper, *, again: bool = False) -> HttpResponse:
    document = ask_for(by=member, now=timezone.now(), wanted=wanted, again=again)
    return on_to("document", document.pk)
