"""From a template and a record to the bytes of a PDF, and nothing else read on the way.

The printing library can fetch whatever an address names. Here it gets the pictures that lie in this package and
nothing more: no address, no other file, no data in an address, so that nothing a person has named a lot can reach for
anything. The same record gives the same bytes: no clock and no random number goes into a file.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.urls import URLFetcher, URLFetcherResponse

from batches.papers import square_codes

FILES = Path(__file__).resolve().parent.parent / "static" / "batches" / "papers"
SCHEME = "paper:"
PDF = "application/pdf"

Told = Callable[[int], None]
"""Told how far the work is, in percent."""


@dataclass(frozen=True, slots=True)
class Copy:
    """Which print of its subject this is, and for whom and when it was asked for."""

    number: int
    by: str
    at: datetime


class OwnFiles(URLFetcher):
    """Gives the pictures of this package, by `paper:name.svg`, and square codes; refuses every other address."""

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        if url.startswith(square_codes.SCHEME):
            return URLFetcherResponse(url, square_codes.code_at(url), {"Content-Type": "image/png"})
        name = url.removeprefix(SCHEME)
        if not url.startswith(SCHEME) or name not in _pictures():
            raise ValueError("Papers fetch only their own pictures.")
        return URLFetcherResponse(url, _pictures()[name], {"Content-Type": "image/svg+xml"})


@cache
def _pictures() -> Mapping[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(FILES.glob("*.svg"))}


@cache
def _fetcher() -> OwnFiles:
    return OwnFiles(allowed_protocols=())


@cache
def _style(name: str) -> CSS:
    return CSS(string=(FILES / name).read_text("utf-8"), url_fetcher=_fetcher())


def written(template: str, context: Mapping[str, Any]) -> str:
    """The HTML of a paper; everything in it that comes from the record is escaped by the template."""
    return render_to_string(f"batches/papers/{template}", dict(context))


def printed(html: str, *, style: str, told: Told) -> bytes:
    """The PDF of a paper written as HTML, with one of the stylesheets of this package."""
    told(30)
    laid_out = HTML(string=html, url_fetcher=_fetcher()).render(stylesheets=[_style(style)])
    told(80)
    data: bytes = laid_out.write_pdf()
    return data


def silent(percent: int) -> None:
    """Tells nobody."""
