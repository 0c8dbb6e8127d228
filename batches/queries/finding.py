"""Finding formulas and batches by what a person types or scans."""

from typing import Any, TypeVar

from django.db.models import Q, QuerySet

from studio.kernel.numbers import BadNumberText, parse

Rows = TypeVar("Rows", bound=QuerySet[Any])


def formulas_matching(rows: Rows, text: str) -> Rows:
    """Formulas that have each word in their code or name."""
    for word in text.split():
        rows = rows.filter(Q(code__icontains=word) | Q(name__icontains=word))
    return rows


def batches_matching(rows: Rows, text: str) -> Rows:
    """Batches whose number is `text`, or that have each word in number or title."""
    number = batch_number(text)
    if number:
        return rows.filter(number=number)
    for word in text.split():
        rows = rows.filter(Q(number__icontains=word) | Q(title__icontains=word))
    return rows


def batch_number(text: str) -> str | None:
    """The batch number that `text` stands for, None when it is none."""
    try:
        return parse("batch", text)
    except BadNumberText:
        return None
