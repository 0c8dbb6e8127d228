"""Where things have their pages, and the navigation that every page shows.

`NAVIGATION` in the settings names the pages by string, because most of them belong to floors above this one.
"""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the navigation."""

    label: str
    address: str
    here: bool


def address(name: str, *args: Any) -> str:
    """The address of a page, or "" when the service has no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Context processor: the entries of the navigation, and the one that the page belongs to."""
    entries = [
        Entry(label, reverse(name), here=_is_under(request.path, prefixes))
        for label, name, prefixes in settings.NAVIGATION
    ]
    return {"navigation": entries, "member": getattr(request, "member", None)}


def _is_under(path: str, prefixes: tuple[str, ...]) -> bool:
    return any(path == prefix if prefix == "/" else path.startswith(prefix) for prefix in prefixes)
