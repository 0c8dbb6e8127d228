"""Entity tags: how a reader learns that nothing changed, and a writer that something did.

A tag is `"<edition>-<digest>"`: the edition of the thing, and a digest of the very bytes answered. `If-None-Match`
compares all of it, so a figure that follows from other rows is never answered as unchanged. `If-Match` is about
the edition alone, which is what an action checks under its lock: a weighing elsewhere must not spoil the renaming
of a lot. A bare `"<edition>"` is accepted there too. A thing without editions has the digest alone.
"""

import hashlib
import re

from django.http import HttpRequest
from rest_framework.request import Request

from studio.api.refusals import PreconditionRequired
from studio.kernel.errors import Invalid, StaleEdition

_TAG = re.compile(r'\s*(W/)?"([\x21\x23-\x7e\x80-\xff]*)"\s*')
_EDITION = re.compile(r"([1-9]\d{0,17})(-[0-9a-f]{16})?")


class BadEntityTag(Invalid):
    """`If-Match` or `If-None-Match` holds something else than `*` or quoted tags, or several editions."""

    code = "bad-entity-tag"
    title = "Unreadable entity tag"


def etag(edition: int | None, body: bytes) -> str:
    """The strong tag of a representation."""
    digest = hashlib.sha256(body).hexdigest()[:16]
    return f'"{digest}"' if edition is None else f'"{edition}-{digest}"'


def expected_edition(request: HttpRequest | Request) -> int | None:
    """The edition that `If-Match` names, None for `*` (any).

    Raises `PreconditionRequired` without the header, `StaleEdition` when no tag in it could ever match (weak tags
    never do), `BadEntityTag` when it is malformed or names more than one edition.
    """
    header = request.headers.get("If-Match")
    if header is None:
        raise PreconditionRequired(
            "Send the ETag you last read as If-Match, so that nobody's change is lost."
        )
    if header.strip() == "*":
        return None
    found = [_EDITION.fullmatch(opaque) for weak, opaque in _tags(header, "If-Match") if not weak]
    editions = {int(match[1]) for match in found if match}
    if not editions:
        raise StaleEdition("If-Match names no edition of this thing. Read it again and decide anew.")
    if len(editions) > 1:
        raise BadEntityTag("Name in If-Match only the one edition that you last read.")
    return editions.pop()


def unchanged(request: HttpRequest | Request, tag: str) -> bool:
    """Whether `If-None-Match` already names `tag` (weak comparison), so that the body need not be sent."""
    header = request.headers.get("If-None-Match")
    if header is None:
        return False
    return header.strip() == "*" or tag.strip('"') in {opaque for _, opaque in _tags(header, "If-None-Match")}


def _tags(header: str, name: str) -> list[tuple[bool, str]]:
    """The tags of a header as (weak, opaque) pairs."""
    tags: list[tuple[bool, str]] = []
    place = 0
    while place < len(header):
        if header[place] in ", \t":
            # RFC 9110 5.6.1: a recipient ignores empty elements of a list.
            place += 1
            continue
        match = _TAG.match(header, place)
        if match is None or (match.end() < len(header) and header[match.end()] != ","):
            raise BadEntityTag(f'{name} must be * or tags in quotes, like "3-0123456789abcdef".')
        tags.append((match[1] is not None, match[2]))
        place = match.end()
    if not tags:
        raise BadEntityTag(f"{name} is empty.")
    return tags
