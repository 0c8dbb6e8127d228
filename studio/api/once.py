"""`once`: a POST repeated with the same `Idempotency-Key` has one effect and gets the first answer again.

The handler runs inside the transaction that holds the mark of the key, and its answer, already written out as
bytes, is kept there too. A refusal rolls everything back, the mark included, so only answers of success are
remembered and a repetition after a failure starts afresh. The header is read as the IETF draft has it, a quoted
string; a bare token is taken as well.
"""

import functools
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

from django.db import transaction
from django.http import HttpResponse
from rest_framework.request import Request

from studio.actions.answers import keep_answer, mark_request
from studio.api.refusals import KeyReused
from studio.kernel.errors import Invalid
from studio.kernel.secrets import keyed_digest
from studio.kernel.work import work
from studio.models import RememberedAnswer

if TYPE_CHECKING:
    from studio.api.views import Endpoint

    View = TypeVar("View", bound=Endpoint)

Handler = Callable[..., HttpResponse]
KEPT_HEADERS = ("Content-Type", "Location", "ETag")
_QUOTED = re.compile(r'"((?:[\x20\x21\x23-\x5b\x5d-\x7e]|\\["\\])*)"')
_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~:/=-]+")
LONGEST_KEY = 255


class BadIdempotencyKey(Invalid):
    """`Idempotency-Key` is neither a quoted string nor a token of 1 to 255 characters."""

    code = "bad-idempotency-key"
    title = "Unreadable idempotency key"


def idempotency_key(request: Request) -> str | None:
    """The key of the request, None without the header; raises `BadIdempotencyKey`."""
    header = request.headers.get("Idempotency-Key")
    if header is None:
        return None
    header = header.strip()
    quoted = _QUOTED.fullmatch(header)
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else header
    if not (quoted or _TOKEN.fullmatch(header)) or not 1 <= len(key) <= LONGEST_KEY:
        raise BadIdempotencyKey(
            f'Give Idempotency-Key as a text in quotes of 1 to {LONGEST_KEY} characters, such as "3f1c-7a".'
        )
    return key


def request_digest(request: Request) -> str:
    """Digest of what makes two requests the same: method, path, query, kind and bytes of the body.

    A body may hold a password, so the digest is a keyed one.
    """
    head = "\n".join(
        [request.method or "", request.path, request.META.get("QUERY_STRING", ""), request.content_type or ""]
    )
    return keyed_digest(head.encode() + b"\n\n" + request.body)


def once(handler: Handler) -> Handler:
    """Let a POST handler of an `Endpoint` answer a repeated key with its first answer."""

    @functools.wraps(handler)
    def guarded(view: "Endpoint", request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        key = idempotency_key(request)
        if key is None or view.marked:
            return handler(view, request, *args, **kwargs)
        digest = request_digest(request)
        with work():
            mark = mark_request(by=view.by, at=view.now, key=key, digest=digest)
            if mark.request_digest != digest:
                raise KeyReused(
                    "This Idempotency-Key was used for another request. Take a new key for a new one."
                )
            if mark.status is not None:
                return _replay(mark)
            view.marked = True
            response = handler(view, request, *args, **kwargs)
            if response.status_code >= 400:
                transaction.set_rollback(True)
                return response
            kept = {name: response[name] for name in KEPT_HEADERS if name in response}
            keep_answer(
                mark=mark, status=response.status_code, headers=kept, body=view.remembered_body(response)
            )
        return response

    return guarded


def _replay(mark: RememberedAnswer) -> HttpResponse:
    headers = {**mark.headers, "Idempotent-Replay": "true"}
    return HttpResponse(bytes(mark.body), status=mark.status, headers=headers)
