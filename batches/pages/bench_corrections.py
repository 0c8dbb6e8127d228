"""Pages reached from the bench: striking a wrong entry through, and closing the batch with its decisions."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from batches.actions.closing import Filled, StrengthDiffers, close_batch
from batches.actions.weighing import strike_weighing
from batches.models import BatchKind, Weighing
from batches.pages.bench import batch_number
from batches.pages.bench_forms import CloseForm, StrikeForm
from batches.queries.batches import weighings_of
from batches.queries.bench import bench_sheet
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, shown
from studio.pages.once import once
from studio.pages.tags import grams

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@BOTH
@for_makers
@once
def strike(request: HttpRequest, member: Member, number: str, weighing_id: int) -> HttpResponse:
    """Strike one entry through, with a reason; it stays readable."""
    batch = batch_number(number)
    weighing: Weighing = weighings_of(studio=member.studio, number=batch).one(
        member.studio, "weighing", id=weighing_id
    )
    form = StrikeForm(request.POST or None)
    if form.is_valid():
        with faults_into(form):
            strike_weighing(
                by=member, now=timezone.now(), number=batch, weighing_id=weighing_id, why=form.reason
            )
    if form.is_valid():
        return done(
            request,
            f"{grams(weighing.mass)} of line {weighing.line.position} are struck through.",
            "bench",
            batch,
        )
    context = {
        "heading": f"Strike {grams(weighing.mass)} through",
        "lead": f"Line {weighing.line.position}, {weighing.lot.title}, weighed by {weighing.by}. The entry stays in the "
        "record, crossed out, with your reason. Use this for what never went into the vessel; what was poured too much "
        "is no slip: go back and choose a way on.",
        "send": "Strike it through",
        "back": f"{reverse('bench', args=[batch])}?line={weighing.line.position}",
        "back_to": "Bench",
    }
    return shown(request, "batches/bench_strike.html", context, form)


@BOTH
@for_makers
@once
def close(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """End the weighing: one made lot, and a sealed record."""
    batch = batch_number(number)
    sheet = bench_sheet(studio=member.studio, number=batch, today=timezone.now().date())
    unweighed = [pour for pour in sheet.pours if pour.line.state == "open"]
    of_grid = sheet.batch.kind == BatchKind.GRID
    decision = "strength_decision" in request.POST or "strength_reason" in request.POST
    form = _close_form(request, member, "" if of_grid else sheet.batch.title, bool(unweighed), decision)
    differs: StrengthDiffers | None = None
    if form.is_valid():
        with faults_into(form):
            try:
                told = {name: value for name, value in form.cleaned_data.items() if value}
                closed = close_batch(by=member, now=timezone.now(), number=batch, filled=Filled(**told))
            except StrengthDiffers as refusal:
                differs = refusal
                raise
    if form.is_valid():
        if of_grid:
            return done(request, f"Grid {batch} is closed: its vials are made.", "batch", batch)
        return done(request, f"Batch {batch} is closed: lot {closed.made} is made.", "bench", batch)
    if differs is not None:
        form = _close_form(request, member, sheet.batch.title, bool(unweighed), True)
        form.full_clean()
        form.errors.pop("strength_decision", None)
        form.add_error("strength_decision", differs.message)
    context = {
        "sheet": sheet,
        "batch": sheet.batch,
        "unweighed": unweighed,
        "over": [] if sheet.settled else sheet.over,
        "below": [pour for pour in sheet.pours if pour.line.state == "begun"],
        "heading": f"Close {sheet.batch.title}",
        "send": "Close the batch",
        "back": reverse("bench", args=[batch]),
        "back_to": "Bench",
    }
    return shown(request, "batches/bench_close.html", context, form)


def _close_form(
    request: HttpRequest, member: Member, title: str, lines_open: bool, decision: bool
) -> CloseForm:
    data = request.POST if request.method == "POST" else None
    form = CloseForm(member.studio, data, initial={"title": title}, lines_open=lines_open, decision=decision)
    if not title:
        form.fields["title"].required = False
        form.fields["title"].label = "Name of the vials"
        form.fields["title"].help_text = "Their numbers follow it. Empty: by what is in them."
        form.fields["shelf"].label = "They will stand on"
    return form
