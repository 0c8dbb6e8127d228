"""Reading the history of a studio, newest last by its own order."""

from django.db.models import QuerySet

from studio.models import HistoryEntry, Studio


def history_of(studio: Studio) -> QuerySet[HistoryEntry]:
    """Every entry of a studio, with who made it."""
    return HistoryEntry.objects.of(studio).select_related("by__person")
