"""The sheet of a making day, to print and as CSV; what-ifs; and pars suggested from use."""

import csv
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from batches.pages.remake_forms import WhatIfForm
from batches.papers.day_sheet import COLUMNS, day_sheet_rows
from batches.queries.making_days import day_sheet_of
from batches.queries.remakes import could_be_made
from batches.queries.suggested_pars import suggested_pars
from studio.kernel.sheets import neutralised
from studio.models import Member
from studio.pages.acting import for_members
from studio.pages.answers import shown

BAR = Decimal(100)


@require_safe
@for_members
def sheet(request: HttpRequest, member: Member) -> HttpResponse:
    """What is to be made on a day, batch by batch, with the lots to fetch."""
    found = day_sheet_of(studio=member.studio, day=_day(request))
    return shown(request, "batches/making_day.html", {"found": found, "day": found.day})


@require_safe
@for_members
def sheet_csv(request: HttpRequest, member: Member) -> HttpResponse:
    """The same as a sheet of rows."""
    found = day_sheet_of(studio=member.studio, day=_day(request))
    name = f"making-{found.day.isoformat()}.csv"
    response = HttpResponse(
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    for row in day_sheet_rows(found):
        writer.writerow(["" if cell is None else neutralised(str(cell)) for cell in row])
    return response


@require_safe
@for_members
def what_if(request: HttpRequest, member: Member) -> HttpResponse:
    """Ask whether so much of a version could be made on a day; nothing is written."""
    asked = request.GET if "mass" in request.GET else None
    form = WhatIfForm(member.studio, asked, initial={"version": request.GET.get("version")})
    context: dict[str, Any] = {}
    if form.is_valid():
        told = form.cleaned_data
        today = timezone.now().date()
        context["found"] = could_be_made(
            version=told["version"],
            today=today,
            day=told["day"] or today,
            mass=told["mass"] * (told["vials"] or 1),
            strength=told["strength"],
        )
        context["version"] = told["version"]
    return shown(request, "batches/what_if.html", context, form)


@require_safe
@for_members
def pars(request: HttpRequest, member: Member) -> HttpResponse:
    """Pars suggested from the use of the last weeks, with the weeks; setting one is another step."""
    found = suggested_pars(studio=member.studio, today=timezone.now().date())
    rows = [{"one": one, "bars": _bars([week.used for week in one.weeks])} for one in found]
    return shown(request, "batches/suggested_pars.html", {"rows": rows})


def _bars(weeks: list[Decimal]) -> list[dict[str, Any]]:
    """A bar per week, its height in percent of the largest."""
    largest = max(weeks, default=Decimal(0)) or Decimal(1)
    return [
        {"x": place * 10, "y": round(BAR - used / largest * BAR, 1), "height": round(used / largest * BAR, 1)}
        for place, used in enumerate(weeks)
    ]


def _day(request: HttpRequest) -> date:
    try:
        asked = parse_date(request.GET.get("day", ""))
    except ValueError:
        asked = None
    return asked or timezone.now().date()
