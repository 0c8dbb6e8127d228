"""Vials smelled blind, on the pages: set up, dipped into by their codes, revealed. And the studio's words."""

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from batches.actions.blind_smelling import reveal_blind, set_up_blind
from batches.actions.smelling import UnderCode, dip
from batches.actions.smelling_words import merge_words, rename_word
from batches.pages.smelling import typed_lot
from batches.pages.smelling_forms import BlindForm, DipCodeForm, MergeForm, RenameForm
from batches.queries.smelling import (
    blind_set_at,
    blind_vials_of,
    cautions_of_set,
    smellings_of,
    words_of,
)
from inventory.calc.codes import DEFERRING_WORDS
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.listing import Listing
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@BOTH
@for_makers
@once
def new_blind(request: HttpRequest, member: Member) -> HttpResponse:
    """Put vials under codes."""
    form = BlindForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            lots = [typed_lot(member, number) for number in form.numbers]
            title = form.cleaned_data["title"]
            made = set_up_blind(by=member, now=timezone.now(), title=title, lots=lots)
    if form.is_valid():
        return done(request, "Write each code on its vial, and show nobody this page.", "blind-set", made.pk)
    context = {
        "heading": "Smell vials blind",
        "lead": "Each vial gets a three-digit code. You know them and do not smell; nobody else can look them up until "
        "you reveal them.",
        "send": "Draw the codes",
        "back": reverse("smelling"),
        "back_to": "Smelling",
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_members
def blind_set(request: HttpRequest, member: Member, set_id: int) -> HttpResponseBase:
    """A set by its codes; a strip into one of them."""
    found = blind_set_at(member.studio, set_id)
    vials = list(blind_vials_of(member, found).order_by("code", "id"))
    form = DipCodeForm(sent(request), codes=[vial.code for vial in vials])
    if request.method == "POST":
        answer = _dipped(request, set_id, form)
        if form.is_valid():
            return answer
    notes = smellings_of(member).standing().filter(blind__blind_set=found).order_by("blind__code", "at", "id")
    context = {
        "set": found,
        "vials": vials,
        "knows": found.is_known_to(member),
        "may_smell": member.may_write and found.by_id != member.pk and not found.is_revealed,
        "may_reveal": found.by_id == member.pk and not found.is_revealed,
        "of_set": cautions_of_set(found),
        "deferring_words": DEFERRING_WORDS,
        "notes": notes[:300],
    }
    return shown(request, "batches/smelling/blind.html", context, form)


@for_makers
@once
def _dipped(request: HttpRequest, member: Member, set_id: int, form: DipCodeForm) -> HttpResponse:
    if form.is_valid():
        with faults_into(form):
            strip = dip(
                by=member,
                now=timezone.now(),
                into=UnderCode(set_id=set_id, code=int(form.cleaned_data["code"])),
                remind_minutes=form.cleaned_data["remind_minutes"] or [],
            )
    if form.is_valid():
        return done(request, "Dipped: the clock runs. Smell, and note it.", "strip", strip.pk)
    return HttpResponse(status=422)


@require_POST
@for_makers
@once
def reveal(request: HttpRequest, member: Member, set_id: int) -> HttpResponse:
    """Tell everybody what the codes stand for."""
    reveal_blind(by=member, now=timezone.now(), set_id=set_id)
    return done(request, "Revealed: everybody sees what the codes stand for.", "blind-set", set_id)


@require_safe
@for_members
def words(request: HttpRequest, member: Member) -> HttpResponse:
    """The studio's words."""
    rows = words_of(member.studio).order_by("key", "id")
    return shown(request, "batches/smelling/words.html", {"listing": Listing.of(rows, request)})


@BOTH
@for_makers
@once
def rename(request: HttpRequest, member: Member, word_id: int) -> HttpResponse:
    """Call a word otherwise."""
    word = words_of(member.studio).one(member.studio, "smelling word", id=word_id)
    form = RenameForm(sent(request), initial={"text": word.text})
    if form.is_valid():
        with faults_into(form):
            rename_word(by=member, now=timezone.now(), word_id=word_id, text=form.cleaned_data["text"])
    if form.is_valid():
        return done(request, "Renamed; notes keep how it was said.", "smelling-words")
    context = {
        "heading": f"Rename “{word.text}”",
        "lead": "Notes keep how it was said, and count under the new name.",
        "send": "Rename",
        "back": reverse("smelling-words"),
        "back_to": "Words",
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def merge(request: HttpRequest, member: Member, word_id: int) -> HttpResponse:
    """Count a word as another."""
    rows = words_of(member.studio)
    word = rows.one(member.studio, "smelling word", id=word_id)
    others = rows.filter(merged_into=None).exclude(pk=word_id).order_by("key", "id")
    form = MergeForm(sent(request), words=[(str(one.pk), one.text) for one in others])
    if form.is_valid():
        with faults_into(form):
            into_id = int(form.cleaned_data["into"])
            merge_words(by=member, now=timezone.now(), word_id=word_id, into_id=into_id)
    if form.is_valid():
        return done(request, "Merged; notes keep how it was said.", "smelling-words")
    context = {
        "heading": f"Merge “{word.text}” into another word",
        "lead": "From now on both count as one. Notes keep how it was said. This cannot be taken back.",
        "send": "Merge",
        "back": reverse("smelling-words"),
        "back_to": "Words",
    }
    return shown(request, "studio/form.html", context, form)
