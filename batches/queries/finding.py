"""Finding formulas and batches by what a person types or scans."""

from typing import Any, TypeVar

from django.db.models import Q, QuerySet

from studio.kernel.numbers import BadNumberText, parse

Rows = TypeVar("Rows", bound=QuerySet[Any])


def formulas_matching(rows: Rows, text: str) -> Rows:
    """Formulas that have each word in their code or name, by code."""
    for word in text.split():
        rows = rows.filter(Q(code__icontains=word) | Q(name__icontains=word))
    return rows.order_by("code", "id")


def batches_matching(rows: Rows, text: str) -> Rows:
    """Batches whose number is `text`, or that have each word in number or title, newest first."""
    try:
        return rows.filter(number=parse("batch", text)).order_by("id")
    except BadNumberText:
        pass
    for word in text.split():
        rows = rows.filter(Q(number__icontains=word) | Q(title__icontains=word))
    return rows.order_by("-id")
