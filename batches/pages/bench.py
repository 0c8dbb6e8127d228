"""The bench: one line of a batch at a time, large, and every weighing recorded once whatever the network does.

The page holds all lines of the batch, so that the work goes on without a connection; the script keeps what is not saved
yet and sends it again under the same operation until it is answered. Without the script the same form records one
weighing at a time. What changes while people weigh are the parts marked `data-live`, which the script fetches anew.
"""

from collections.abc import Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from batches.actions.refusing import Refused, note_refused
from batches.actions.rescuing import choose_way_on
from batches.actions.weighing_at_bench import (
    ToldAtBench,
    lot_told,
    record_at_bench,
    refusal_at_bench,
    weighed_at,
)
from batches.calc.overpour import Way
from batches.models import LotTold, RefusedFor, Weighing
from batches.pages.bench_band import band_of
from batches.queries.bench import BenchSheet, Pour, bench_edition, bench_sheet
from inventory.calc.lot_codes import studio_item
from inventory.calc.wording import figure
from studio.kernel.errors import Invalid, Refusal
from studio.kernel.mass import exact_mass
from studio.kernel.numbers import BadNumberText, parse
from studio.models import Member
from studio.models.scoped import NoSuchThing
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, on_to
from studio.pages.navigation import address
from studio.pages.once import once

GLOVES = "bench_gloves"
YEAR_SECONDS = 365 * 24 * 3600
LONGEST = 200
LONGEST_OPERATION = 80
BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
WAYS: dict[str, tuple[Way, str]] = {
    "keep-going": ("keep-going", "Keep going as planned"),
    "enlarge-fully": ("enlarge-fully", "Enlarge the batch until nothing is too much"),
    "enlarge-just-enough": ("enlarge-just-enough", "Enlarge it just enough"),
    "best-within-limits": ("best-within-limits", "Best that shelf and vessel allow"),
}


@require_safe
@for_members
def bench(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """The batch at the bench, at the line asked for or the first that is open."""
    sheet = bench_sheet(studio=member.studio, number=batch_number(number), today=timezone.now().date())
    return _page(request, sheet)


@require_safe
@for_members
def told(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """The live parts as they stand now; nothing (204) when the batch still has the edition the page knows."""
    batch = batch_number(number)
    known = request.GET.get("edition", "")
    if known and known == str(bench_edition(studio=member.studio, number=batch)):
        return HttpResponse(status=204)
    return HttpResponse(_live(request, member, batch))


@require_safe
@for_members
def lot(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Whether a scanned or typed lot is the one of a line, and when not, both names in a sentence."""
    try:
        found = lot_told(
            by=member,
            number=batch_number(number),
            position=_whole(request.GET.get("position", "")),
            text=request.GET.get("text", "")[:LONGEST],
        )
    except Refusal as refusal:
        return _refused(refusal)
    return JsonResponse({"outcome": "right", "lot": found.number})


@require_POST
@for_makers
def weigh(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Record one weighing, once, however often it is sent."""
    batch = batch_number(number)
    in_words = request.headers.get("Accept", "").startswith("application/json")
    told = _told(request)
    now = timezone.now()
    try:
        weighing = record_at_bench(by=member, now=now, number=batch, told=told)
    except Refusal as refusal:
        noted = refusal_at_bench(told, refusal)
        if noted is not None:
            note_refused(by=member, now=now, number=batch, refused=noted, at=weighed_at(now, told.age))
        if in_words:
            return _refused(refusal)
        sheet = bench_sheet(studio=member.studio, number=batch, today=timezone.now().date())
        return _page(request, sheet, refusal)
    sentence = f"{figure(weighing.mass)} g are recorded for line {weighing.line.position}."
    if in_words:
        answer = {"outcome": "recorded", "sentence": sentence, "live": _live(request, member, batch)}
        return JsonResponse(answer, status=201)
    return done(request, sentence, "bench", batch)


@require_POST
@for_makers
def refused(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Note what the page refused before it was sent: a wrong lot, an unclear weight, a reading that was not to keep."""
    now = timezone.now()
    try:
        sent = {name: str(value) for name, value in request.POST.items()}
        kind = sent.get("kind", "")
        if kind not in RefusedFor.values:
            raise Invalid(f"“{kind[:40]}” is nothing that is refused at a bench.")
        noted = Refused(
            operation=_operation(sent),
            position=_whole(sent.get("position", "")),
            kind=RefusedFor(kind),
            told=sent.get("told", ""),
            why=sent.get("why", ""),
        )
        at = weighed_at(now, _age(sent))
        note_refused(by=member, now=now, number=batch_number(number), refused=noted, at=at)
    except Refusal as refusal:
        return _refused(refusal)
    return JsonResponse({"outcome": "recorded"}, status=201)


@require_POST
@for_makers
@once
def way(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Choose a way on after an overpour."""
    asked = request.POST.get("way", "")
    if asked not in WAYS:
        raise Invalid("Choose one of the ways on.")
    way, name = WAYS[asked]
    batch, option = choose_way_on(by=member, now=timezone.now(), number=batch_number(number), way=way)
    return done(request, f"{name}: {option.why}", "bench", batch.number)


@require_POST
@for_members
def gloves(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Keys for gloves on or off, kept by this browser."""
    response = on_to("bench", batch_number(number))
    if request.POST.get("gloves") == "on":
        response.set_cookie(
            GLOVES, "on", max_age=YEAR_SECONDS, samesite="Lax", secure=request.is_secure(), httponly=True
        )
    else:
        response.delete_cookie(GLOVES)
    return response


def batch_number(text: str) -> str:
    """`text` in any spelling as the number of a batch; raises `NoSuchThing`."""
    try:
        return parse("batch", text)
    except BadNumberText:
        raise NoSuchThing(f"There is no batch {text[:40]} in this studio.") from None


def _page(request: HttpRequest, sheet: BenchSheet, refusal: Refusal | None = None) -> HttpResponse:
    asked = request.POST.get("position") or request.GET.get("line", "")
    context = {
        **_parts(sheet, asked),
        "gloved": request.COOKIES.get(GLOVES) == "on",
        "refusal": refusal,
        "told": request.POST,
        "operation": f"bench-{uuid4().hex}",
        "keys": "123456789.0",
        "bauds": BAUDS,
        "item": studio_item(sheet.batch.studio_id),
    }
    status = 200 if refusal is None else 422 if isinstance(refusal, Invalid) else 409
    return render(request, "batches/bench.html", context, status=status)


def _live(request: HttpRequest, member: Member, number: str) -> str:
    sheet = bench_sheet(studio=member.studio, number=number, today=timezone.now().date())
    asked = request.POST.get("position") or request.GET.get("line", "")
    context = {**_parts(sheet, asked), "member": member}
    return render_to_string("batches/parts/bench_live.html", context, request)


def _parts(sheet: BenchSheet, asked: str) -> dict[str, Any]:
    """What the page and its live parts are made of."""
    pours = {str(pour.position): pour for pour in sheet.pours}
    first = pours.get(str(sheet.first_open)) or (sheet.pours[0] if sheet.pours else None)
    return {
        "sheet": sheet,
        "batch": sheet.batch,
        "lines": [_line(pour) for pour in sheet.pours],
        "current": pours.get(asked, first),
        "ways": [(option, WAYS[option.way][1]) for option in sheet.ways],
        "batch_page": address("batch", sheet.batch.number),
    }


def _line(pour: Pour) -> dict[str, Any]:
    standing: list[Weighing] = [one for one in pour.weighings if one.struck_at is None]
    operations = " ".join(one.operation or "" for one in pour.weighings)
    return {"pour": pour, "band": band_of(pour.line), "standing": standing, "operations": operations}


def _told(request: HttpRequest) -> ToldAtBench:
    """One weighing as the form or the script sends it."""
    sent = {name: str(value)[:LONGEST] for name, value in request.POST.items()}
    seen = sent.get("seen", "")
    how = sent.get("lot_told", "")
    return ToldAtBench(
        operation=_operation(sent),
        position=_whole(sent.get("position", "")),
        lot=sent.get("lot", ""),
        typed=sent.get("weight", ""),
        line=sent.get("reading", ""),
        again=sent.get("again", ""),
        seen=exact_mass(seen, "what the line held") if seen else None,
        lot_told=LotTold(how) if how in LotTold.values else None,
        age=_age(sent),
        expired_reason=sent.get("expired_reason", ""),
    )


def _operation(sent: Mapping[str, str]) -> str:
    operation = sent.get("operation", "")[:LONGEST_OPERATION]
    if not operation:
        raise Invalid("This weighing has no name of its own; reload the page and enter it again.")
    return operation


def _age(sent: Mapping[str, str]) -> timedelta:
    return timedelta(seconds=_whole(sent.get("age") or "0"))


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise Invalid(f"“{text[:40]}” is no whole number.")
    return int(text)


def _refused(refusal: Refusal) -> JsonResponse:
    """A refusal for the script: its code and sentence, and the numbers it carries.

    The exchange itself went well, so it is a 200: `outcome` says which it is, and browsers note no error of the page.
    """
    extra = {
        name: str(value) if isinstance(value, Decimal) else value for name, value in refusal.extra.items()
    }
    told = {"outcome": "refused", "code": refusal.code, "title": refusal.title, "sentence": refusal.message}
    return JsonResponse({**extra, **told})
