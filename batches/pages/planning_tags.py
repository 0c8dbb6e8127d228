"""What the plan's template needs to say: figures kept as text in percent, and which lot a line is held to. Built in."""

from decimal import Decimal

from django import template

from batches.queries.planned import PlannedLine
from studio.pages.tags import percent

register = template.Library()


@register.filter
def as_percent(fraction: str) -> str:
    """A fraction kept as text, in percent: "0.1" is 10 %."""
    return percent(Decimal(fraction))


@register.filter
def chose(line: PlannedLine, number: str) -> bool:
    """Whether a line is held by hand to the lot of this number."""
    return any(pour.line.pinned and pour.line.lot.number == number for pour in line.pours)
