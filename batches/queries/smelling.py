"""Notes, strips, words and blind sets as they are looked at by one member, who may not know what every code stands for."""

from dataclasses import replace
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q
from django.db.models.functions import Coalesce

from batches.models import BlindSet, BlindVial, Smelling, SmellingSaid, SmellingWord, Strip
from batches.models.smelling import BlindVialQuerySet, SmellingQuerySet, StripQuerySet
from inventory.calc.cautions import Caution
from inventory.models import Lot
from inventory.queries.shelf import cautions_of_each
from studio.kernel.errors import Forbidden
from studio.models import Member, ScopedQuerySet, Studio


class CodesHidden(Forbidden):
    """What codes stand for is known to who set the vials up, and to everybody when they are revealed."""

    code = "codes-hidden"
    title = "Not before it is revealed"


def smellings_of(member: Member) -> SmellingQuerySet:
    """All notes a member may read, with `told_lot` where they may know it; one statement and one for the words."""
    said = SmellingSaid.objects.select_related("word__merged_into").order_by("position", "id")
    rows: SmellingQuerySet = Smelling.objects.of(member.studio_id).seen_by(member)
    rows = rows.annotate(corrected_by_id=F("correction__id"))
    return rows.select_related("by__person", "blind", "strip").prefetch_related(
        Prefetch("said", queryset=said)
    )


def notes_on(member: Member, lot: Lot) -> SmellingQuerySet:
    """The notes on a lot, as far as a member may know that they are on it."""
    return smellings_of(member).filter(told_lot=lot.number)


def saying(word_id: int) -> Q:
    """Notes that say a word, or one that was merged into it."""
    said = SmellingSaid.objects.filter(smelling=OuterRef("pk"))
    return Q(Exists(said.filter(Q(word=word_id) | Q(word__merged_into=word_id))))


def strips_of(member: Member) -> StripQuerySet:
    """The strips of the studio, with `told_lot` where a member may know it; one statement."""
    rows: StripQuerySet = Strip.objects.of(member.studio_id).hiding(member)
    return rows.select_related("by__person", "blind__blind_set")


def words_of(studio: Studio) -> ScopedQuerySet[SmellingWord]:
    """The words of the studio; one statement."""
    return SmellingWord.objects.of(studio).select_related("merged_into")


def blind_sets_of(studio: Studio) -> ScopedQuerySet[BlindSet]:
    """The blind sets with how many vials each has; one statement."""
    counted: Any = BlindSet.objects.of(studio).annotate(count=Count("vials"))
    rows: ScopedQuerySet[BlindSet] = counted.select_related("by__person")
    return rows


def blind_set_at(studio: Studio, set_id: int) -> BlindSet:
    """One blind set; raises `NoSuchThing`."""
    found: BlindSet = blind_sets_of(studio).one(studio, "blind set", id=set_id)
    return found


def blind_vials_of(member: Member, blind_set: BlindSet) -> BlindVialQuerySet:
    """The codes of a set, with `told_lot` where a member may know it; one statement."""
    rows: BlindVialQuerySet = BlindVial.objects.of(member.studio_id).hiding(member)
    return rows.filter(blind_set=blind_set).select_related("blind_set")


def cautions_of_set(blind_set: BlindSet) -> list[Caution]:
    """What is to be minded with any vial of a set: the cautions of all its lots together, the same for every code.

    Without reasons, since those name materials and shares. Two statements.
    """
    lots = Lot.objects.filter(pk__in=BlindVial.objects.filter(blind_set=blind_set).values("lot"))
    found = {
        caution.code: replace(caution, reasons=())
        for report in cautions_of_each(lots.order_by("id")).values()
        for caution in report.cautions
    }
    return [found[code] for code in sorted(found)]


def usual_words(studio: Studio, most: int = 15) -> list[str]:
    """The words that are said most, as they are called today, the most frequent first; two statements."""
    said = SmellingSaid.objects.of(studio).annotate(now_id=Coalesce("word__merged_into", "word"))
    rows = said.values("now_id").annotate(count=Count("id")).order_by("-count", "now_id")
    ids = [row["now_id"] for row in rows[:most]]
    words = SmellingWord.objects.in_bulk(ids)
    return [words[one].text for one in ids]
