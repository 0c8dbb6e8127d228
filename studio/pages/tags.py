"""How figures, days and fields are written on every page. Built in: templates need not load it.

A mass is shown exactly, with at least three places, so that figures stand under each other and none differs from what
the API or a paper says.
"""

from datetime import date, datetime
from decimal import Context, Decimal
from typing import Any
from urllib.parse import urlencode

from django import template
from django.forms import BoundField, CheckboxInput, Form
from django.template.context import RequestContext
from django.utils.html import format_html
from django.utils.safestring import SafeString

from studio.pages.navigation import address
from studio.pages.once import FIELD, new_key

register = template.Library()
NBSP = "\u00a0"
PLACES = 3


@register.filter
def mass(grams: Decimal | None) -> str:
    """Grams, exactly, with at least three places: 2.500."""
    if grams is None:
        return ""
    whole, _, places = f"{grams:.6f}".partition(".")
    return f"{whole}.{places.rstrip('0').ljust(PLACES, '0')}"


@register.filter
def grams(grams: Decimal | None) -> str:
    """A mass with its unit: 2.500 g."""
    return "" if grams is None else f"{mass(grams)}{NBSP}g"


@register.filter
def signed(grams: Decimal) -> str:
    """A mass with its unit and sign: +2.500 g."""
    sign = "+" if grams > 0 else "−" if grams < 0 else "±"
    return f"{sign}{mass(abs(grams))}{NBSP}g"


@register.filter
def plain(number: Decimal | None) -> str:
    """A number exactly, without trailing zeros."""
    if number is None:
        return ""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@register.filter
def percent(fraction: Decimal | None) -> str:
    """A fraction in percent, exactly: 0.1 is 10 %."""
    return "" if fraction is None else f"{plain(fraction * 100)}{NBSP}%"


@register.filter
def day(value: date | None) -> str:
    """12 Mar 2026."""
    return "" if value is None else f"{value.day}{NBSP}{value:%b}{NBSP}{value.year}"


@register.filter
def moment(value: datetime | None) -> str:
    """12 Mar 2026, 14:05, in UTC as every time of the service."""
    return "" if value is None else f"{day(value)}, {value:%H:%M}"


@register.simple_tag
def once_key() -> SafeString:
    """The key by which a form that is sent twice is known."""
    return format_html('<input type="hidden" name="{}" value="{}" autocomplete="off">', FIELD, new_key())


@register.inclusion_tag("studio/parts/field.html")
def field(bound: BoundField) -> dict[str, Any]:
    """One field of a form with its label, hint and faults."""
    return {
        "field": bound,
        "tick": isinstance(bound.field.widget, CheckboxInput),
        "names": getattr(bound.field, "names", None),
    }


@register.inclusion_tag("studio/parts/fields.html")
def fields(form: Form) -> dict[str, Any]:
    """All fields of a form, with the faults that belong to none of them on top."""
    return {"form": form}


@register.simple_tag(takes_context=True)
def query(context: RequestContext, **changed: Any) -> str:
    """The page's own query string with some parameters changed; None takes one away."""
    parameters = context["request"].GET.copy()
    for name, value in changed.items():
        parameters.pop(name, None)
        if value is not None:
            parameters[name] = value
    return f"?{parameters.urlencode()}" if parameters else "?"


@register.filter
def share(fraction: Decimal) -> str:
    """A share in percent with three places, more where it would otherwise read zero: 12.340 %."""
    percents = fraction * 100
    places = PLACES if percents == 0 or percents >= Decimal("0.0005") else 7
    return f"{percents:.{places}f}{NBSP}%"


@register.filter
def doubt(fraction: Decimal) -> str:
    """An uncertainty in percent, to two digits that count."""
    return f"± {plain(Context(prec=2).plus(fraction * 100))}{NBSP}%"


@register.simple_tag
def page_link(name: str, what: Any) -> SafeString:
    """A number with a link to its page, or the bare number while the service has no such page."""
    at = address(name, what)
    number = format_html('<span class="number">{}</span>', what)
    return format_html('<a href="{}">{}</a>', at, number) if at else number


@register.simple_tag
def page_address(name: str, *args: Any) -> str:
    """The address of a page, or "" while the service has no such page."""
    return address(name, *args)


@register.inclusion_tag("studio/parts/what_changed.html")
def what_changed(subject: str, name: Any) -> dict[str, str]:
    """The history of a thing, folded, and read when somebody opens it."""
    return {"asked": urlencode({"subject": subject, "name": str(name)})}
