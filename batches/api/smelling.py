"""Smelling over the API: strips, notes on lots and under codes, the studio's words, and vials smelled blind."""

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.blind_smelling import reveal_blind, set_up_blind
from batches.actions.smelling import Said, UnderCode, correct_smelling, dip, end_strip, note_smelling
from batches.actions.smelling_words import add_word, merge_words, rename_word
from batches.api.smelling_shapes import (
    BlindSetIn,
    BlindSetOut,
    BlindVialOut,
    CodedNoteIn,
    NoteIn,
    RevealIn,
    SaidIn,
    SmellingOut,
    StripEndIn,
    StripIn,
    StripOut,
    WordIn,
    WordMergeIn,
    WordOut,
)
from batches.models import BlindSet, BlindVial, IntensityScale, Smelling, SmellingWord, Strip
from batches.queries.smelling import (
    blind_set_at,
    blind_sets_of,
    blind_vials_of,
    notes_on,
    saying,
    smellings_of,
    strips_of,
    words_of,
)
from inventory.api.references import lot_numbered, naming
from inventory.models import Lot
from studio.api.filters import Filters, IdFilter, MomentFilter, NumberTextFilter
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.errors import Faults

SAID = ("intensity", "scale", "liking", "words", "text", "colour", "picture")


class SmellingFilters(Filters):
    lot = NumberTextFilter(sort="lot", field_name="told_lot")
    member = IdFilter(field_name="by_id")
    word = IdFilter(method="with_word")
    blind_set = IdFilter(field_name="blind__blind_set_id")
    corrected = django_filters.BooleanFilter(field_name="correction", lookup_expr="isnull", exclude=True)
    since = MomentFilter(field_name="at", lookup_expr="gte")
    before = MomentFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = Smelling
        fields: list[str] = []

    def with_word(self, rows: QuerySet[Any], name: str, value: int) -> QuerySet[Any]:
        return rows.filter(saying(value))


class SmellingList(ListEndpoint):
    """List the notes of the studio; of an unrevealed blind set only one's own, without the lot."""

    model, shape, filterset_class = Smelling, SmellingOut, SmellingFilters
    orderings = ("at", "recorded_at")
    ordering = "-at"

    def rows(self) -> QuerySet[Smelling]:
        return smellings_of(self.by)


class SmellingDetail(Endpoint):
    @extend_schema(responses=SmellingOut)
    def get(self, request: Request, smelling_id: int) -> HttpResponse:
        """Read a note."""
        return self.answer(SmellingOut, _note(self, smelling_id))


class SmellingCorrect(Endpoint):
    @extend_schema(request=SaidIn, responses={201: SmellingOut})
    def post(self, request: Request, smelling_id: int) -> HttpResponse:
        """Correct a note of one's own by writing it anew; the earlier one stays and says by what it was corrected."""
        told = self.read(SaidIn)
        note = correct_smelling(by=self.by, now=self.now, smelling_id=smelling_id, said=said_in(told))
        return _created(self, note)


class VialSmellings(ListEndpoint):
    """List the notes on a lot, as far as they are known to be on it."""

    model, shape, filterset_class = Smelling, SmellingOut, None
    orderings = ("at", "recorded_at")
    ordering = "-at"

    def rows(self) -> QuerySet[Smelling]:
        return notes_on(self.by, lot_numbered(self.studio, self.kwargs["number"]))

    @extend_schema(request=NoteIn, responses={201: SmellingOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Note what is smelled on a lot, or on a strip that was dipped into it."""
        lot = lot_numbered(self.studio, number)
        told = self.read(NoteIn)
        on = _strip_in(self, told, lot=lot)
        return _created(self, _noted(self, lot if on is None else on, told))


class StripFilters(Filters):
    running = django_filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull")
    member = IdFilter(field_name="by_id")
    lot = NumberTextFilter(sort="lot", field_name="told_lot")

    class Meta:
        model = Strip
        fields: list[str] = []


class StripList(ListEndpoint):
    """List the strips of the studio, with their clocks."""

    model, shape, filterset_class = Strip, StripOut, StripFilters
    orderings = ("dipped_at",)
    ordering = "-dipped_at"

    def rows(self) -> QuerySet[Strip]:
        return strips_of(self.by)

    @extend_schema(request=StripIn, responses={201: StripOut})
    def post(self, request: Request) -> HttpResponse:
        """Dip a strip into a lot, or into a vial under a code: its clock runs from then on."""
        told = self.read(StripIn)
        into = _into(self, told.pop("lot", None), told.pop("blind_set", None), told.pop("code", None))
        strip = dip(by=self.by, now=self.now, into=into, **told)
        return self.created(StripOut, strips_of(self.by).get(pk=strip.pk), location="/api/v1/strips/")


class StripEnd(Endpoint):
    @extend_schema(request=StripEndIn, responses=StripOut)
    def post(self, request: Request, strip_id: int) -> HttpResponse:
        """Throw a strip of one's own away; its notes stay."""
        end_strip(by=self.by, now=self.now, strip_id=strip_id, **self.read(StripEndIn))
        return self.answer(StripOut, strips_of(self.by).get(pk=strip_id))


class WordFilters(Filters):
    merged = django_filters.BooleanFilter(field_name="merged_into", lookup_expr="isnull", exclude=True)

    class Meta:
        model = SmellingWord
        fields: list[str] = []


class WordList(ListEndpoint):
    """List the studio's words for smells."""

    model, shape, filterset_class = SmellingWord, WordOut, WordFilters
    orderings = ("at", "text")
    ordering = "at"

    def rows(self) -> QuerySet[SmellingWord]:
        return words_of(self.studio)

    @extend_schema(request=WordIn, responses={201: WordOut})
    def post(self, request: Request) -> HttpResponse:
        """Put a word on the list; notes put their new words there by themselves."""
        word = add_word(by=self.by, now=self.now, **self.read(WordIn))
        return self.created(WordOut, word, location="/api/v1/smelling-words/")


class WordRename(Endpoint):
    @extend_schema(request=WordIn, responses=WordOut)
    def post(self, request: Request, word_id: int) -> HttpResponse:
        """Call a word otherwise from now on; notes keep how it was said."""
        return self.answer(
            WordOut, rename_word(by=self.by, now=self.now, word_id=word_id, **self.read(WordIn))
        )


class WordMerge(Endpoint):
    @extend_schema(request=WordMergeIn, responses=WordOut)
    def post(self, request: Request, word_id: int) -> HttpResponse:
        """Count a word as another from now on; notes keep how it was said."""
        into_id = self.read(WordMergeIn)["into"]
        with naming("into"):
            SmellingWord.objects.one(self.studio, "smelling word", id=into_id)
        return self.answer(WordOut, merge_words(by=self.by, now=self.now, word_id=word_id, into_id=into_id))


class BlindSetFilters(Filters):
    revealed = django_filters.BooleanFilter(field_name="revealed_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = BlindSet
        fields: list[str] = []


class BlindSetList(ListEndpoint):
    """List the sets of vials that are or were smelled blind."""

    model, shape, filterset_class = BlindSet, BlindSetOut, BlindSetFilters
    orderings = ("at", "title")
    ordering = "-at"

    def rows(self) -> QuerySet[BlindSet]:
        return blind_sets_of(self.studio)

    @extend_schema(request=BlindSetIn, responses={201: BlindSetOut})
    def post(self, request: Request) -> HttpResponse:
        """Put vials under three-digit codes, to be smelled blind; whoever does it knows them and does not smell."""
        told = self.read(BlindSetIn)
        with naming("lots"):
            lots = [lot_numbered(self.studio, number) for number in told["lots"]]
        made = set_up_blind(by=self.by, now=self.now, title=told["title"], lots=lots)
        shown = blind_set_at(self.studio, made.pk)
        return self.created(BlindSetOut, shown, location=f"/api/v1/blind-sets/{made.pk}/")


class BlindSetDetail(Endpoint):
    @extend_schema(responses=BlindSetOut)
    def get(self, request: Request, set_id: int) -> HttpResponse:
        """Read a blind set."""
        return self.answer(BlindSetOut, blind_set_at(self.studio, set_id))


class BlindSetReveal(Endpoint):
    @extend_schema(request=RevealIn, responses=BlindSetOut)
    def post(self, request: Request, set_id: int) -> HttpResponse:
        """Tell everybody what the codes of a set of one's own stand for, once and for good."""
        reveal_blind(by=self.by, now=self.now, set_id=set_id, **self.read(RevealIn))
        return self.answer(BlindSetOut, blind_set_at(self.studio, set_id))


class BlindSetVials(ListEndpoint):
    """List the codes of a set; what they stand for is told to who set it up, and to everybody when it is revealed."""

    model, shape = BlindVial, BlindVialOut
    orderings = ("code",)
    ordering = "code"

    def rows(self) -> QuerySet[BlindVial]:
        return blind_vials_of(self.by, blind_set_at(self.studio, self.kwargs["set_id"]))


class BlindSetSmellings(Endpoint):
    @extend_schema(request=CodedNoteIn, responses={201: SmellingOut})
    def post(self, request: Request, set_id: int) -> HttpResponse:
        """Note what is smelled under a code, or on a strip that was dipped into that vial."""
        told = self.read(CodedNoteIn)
        under = UnderCode(set_id=set_id, code=told.pop("code"))
        on = _strip_in(self, told, under=under)
        return _created(self, _noted(self, under if on is None else on, told))


def said_in(told: dict[str, Any]) -> Said:
    """What was noted, out of a body."""
    said = {name: told[name] for name in SAID if name in told}
    if "scale" in said:
        said["scale"] = IntensityScale(said["scale"])
    return Said(**said)


def _noted(view: Endpoint, on: Lot | UnderCode | int, told: dict[str, Any]) -> Smelling:
    return note_smelling(
        by=view.by, now=view.now, on=on, said=said_in(told), at=told.get("at"), minutes=told.get("minutes")
    )


def _strip_in(
    view: Endpoint, told: dict[str, Any], *, lot: Lot | None = None, under: UnderCode | None = None
) -> int | None:
    """The strip a note names, which must have been dipped into just this; a blind one answers like one elsewhere."""
    strip_id = told.pop("strip", None)
    if strip_id is None:
        return None
    with naming("strip"):
        strip = strips_of(view.by).one(view.studio, "strip", id=strip_id)
    here = (
        strip.told_lot == lot.number
        if lot is not None
        else under is not None
        and strip.blind is not None
        and (strip.blind.blind_set_id, strip.blind.code) == (under.set_id, under.code)
    )
    if not here:
        faults = Faults()
        faults.add("strip", "This strip was dipped into something else; note it there.")
        faults.refuse_if_any()
    return int(strip_id)


def _into(view: Endpoint, lot: str | None, set_id: int | None, code: int | None) -> Lot | UnderCode:
    if lot is not None and set_id is None and code is None:
        with naming("lot"):
            return lot_numbered(view.studio, lot)
    faults = Faults()
    if lot is not None or set_id is None or code is None:
        faults.add("lot", "Name either a lot, or a blind set and the code on the vial.")
        faults.refuse_if_any()
    assert set_id is not None
    assert code is not None
    with naming("blind_set"):
        blind_set_at(view.studio, set_id)
    return UnderCode(set_id=set_id, code=code)


def _note(view: Endpoint, smelling_id: int) -> Smelling:
    found: Smelling = smellings_of(view.by).one(view.studio, "smelling note", id=smelling_id)
    return found


def _created(view: Endpoint, note: Smelling) -> HttpResponse:
    return view.created(SmellingOut, _note(view, note.pk), location=f"/api/v1/smellings/{note.pk}/")
