"""Reading the history of a studio, newest last by its own order."""

from django.db.models import Q, QuerySet

from studio.models import HistoryEntry, Studio

MOST_RENAMINGS = 20


def history_of(studio: Studio) -> QuerySet[HistoryEntry]:
    """Every entry of a studio, with who made it."""
    return HistoryEntry.objects.of(studio).select_related("by__person")


def entries_matching(rows: QuerySet[HistoryEntry], text: str) -> QuerySet[HistoryEntry]:
    """The entries that have every word of the text in a name, a verb, a reason, or in the name of who it was."""
    for word in text.split():
        rows = rows.filter(
            Q(name__icontains=word)
            | Q(verb__icontains=word)
            | Q(why__icontains=word)
            | Q(by__person__name__icontains=word)
        )
    return rows


def history_of_thing(*, studio: Studio, subject: str, name: str) -> QuerySet[HistoryEntry]:
    """Everything that was done to a thing, newest first, also under the names it had before.

    One statement to read it, and one for each name it ever had. Of two things that had one name after each other both
    are told.
    """
    rows = history_of(studio).filter(subject=subject)
    return rows.filter(name__in=_names(studio, subject, name)).order_by("-id")


def _names(studio: Studio, subject: str, name: str) -> list[str]:
    names = [name]
    for _ in range(MOST_RENAMINGS):
        renamed = HistoryEntry.objects.of(studio).filter(subject=subject, changes__name__1=names[-1])
        before = renamed.exclude(name__in=names).order_by("-id").values_list("name", flat=True).first()
        if before is None:
            break
        names.append(before)
    return names
