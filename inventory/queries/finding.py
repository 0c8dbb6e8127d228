"""Finding lots and materials by what a person types or scans: words of a name, a number in any spelling."""

from datetime import date, timedelta
from typing import Any, TypeVar

from django.db.models import F, Q, QuerySet

from inventory.calc.lot_codes import OtherStudiosLabel, number_in
from inventory.models import Lot, Material
from studio.kernel.numbers import BadNumberText, likely_meant, parse
from studio.models import Studio
from studio.models.scoped import NoSuchThing

Rows = TypeVar("Rows", bound=QuerySet[Any])

SOON = timedelta(days=30)
"""How long before its day a lot is said to expire soon."""
STATES = ("open", "soon", "expired", "held", "short", "emptied", "all")


def lots_matching(rows: Rows, text: str, studio: Studio) -> Rows:
    """Lots of the studio whose number is `text`, or that have each of its words in number, name or supplier's lot.

    `text` may be what a scanner read from a label.
    """
    number = lot_number(text, studio)
    if number:
        return rows.filter(number=number)
    for word in text.split():
        rows = rows.filter(
            Q(number__icontains=word)
            | Q(title__icontains=word)
            | Q(material__synonyms__icontains=word)
            | Q(supplier_lot__icontains=word)
        )
    return rows


def materials_matching(rows: Rows, text: str) -> Rows:
    """Materials that have each word of `text` in their name or synonyms, or a CAS number that begins with it."""
    for word in text.split():
        rows = rows.filter(Q(name__icontains=word) | Q(synonyms__icontains=word) | Q(cas__startswith=word))
    return rows


def lots_in_state(rows: Rows, state: str, today: date) -> Rows:
    """Only the lots of which one of `STATES` can be said."""
    if state == "all":
        return rows
    if state == "emptied":
        return rows.filter(emptied_at__isnull=False)
    rows = rows.filter(emptied_at__isnull=True)
    if state == "soon":
        return rows.filter(expires_on__gte=today, expires_on__lte=today + SOON)
    if state == "expired":
        return rows.filter(expires_on__lt=today)
    if state == "held":
        return rows.filter(held_at__isnull=False)
    if state == "short":
        return rows.filter(reserved__gt=F("on_hand"))
    return rows


def lot_number(text: str, studio: Studio) -> str | None:
    """The number of the studio's lot that `text` stands for, typed or scanned; None when it is none."""
    try:
        return number_in(text, studio=studio.pk)
    except (BadNumberText, OtherStudiosLabel):
        return None


def lots_likely_meant(studio: Studio, text: str) -> list[Lot]:
    """Lots whose numbers are one slip away from `text`; at most five."""
    numbers = likely_meant("lot", text)
    return list(Lot.objects.of(studio).filter(number__in=numbers).order_by("number")[:5]) if numbers else []


def lot_at(rows: QuerySet[Lot], text: str) -> Lot:
    """The lot of these whose number is `text`, in any spelling; raises `NoSuchThing`."""
    try:
        number: str | None = parse("lot", text)
    except BadNumberText:
        number = None
    lot = rows.filter(number=number).first() if number else None
    if lot is None:
        raise NoSuchThing(f"There is no lot {text[:40]} in this studio.")
    return lot


def materials_by_name(studio: Studio) -> list[Material]:
    """All materials of a studio, in the order of their names; one statement."""
    return list(Material.objects.of(studio).order_by("name", "id"))
