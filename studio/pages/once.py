"""`once`: a form that is sent twice has one effect and leads to the same page both times.

Every form that changes something carries a key made when it was shown (`{% once_key %}`). The handler runs inside the
transaction that holds the mark of that key, by the same action as for the API's idempotency keys, and the place it led
to is kept there. A form with faults rolls everything back, the mark included, so it can be mended and sent again.
"""

import functools
import hashlib
import re
from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from studio.actions.answers import keep_answer, mark_request
from studio.kernel.errors import Conflict
from studio.kernel.secrets import keyed_digest
from studio.kernel.work import work
from studio.models import Member, RememberedAnswer
from studio.pages.answers import on_to

FIELD = "once"
NOT_CONTENT = (FIELD, "csrfmiddlewaretoken")
_KEY = re.compile(r"[0-9a-f]{32}")


class FormSentBefore(Conflict):
    """A form was sent, changed by going back in the browser, and sent again under the same key."""

    code = "form-sent-before"
    title = "This form was sent already"


def new_key() -> str:
    """A key for a form that is shown now."""
    return uuid4().hex


def once(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let a page's POST take effect once per key of its form."""

    @functools.wraps(view)
    def guarded(request: HttpRequest, member: Member, *args: Any, **kwargs: Any) -> HttpResponse:
        key = request.POST.get(FIELD, "") if request.method == "POST" else ""
        if not _KEY.fullmatch(key):
            return view(request, member, *args, **kwargs)
        digest = content_digest(request)
        with work():
            mark = mark_request(by=member, at=timezone.now(), key=f"form:{key}", digest=digest)
            if mark.status is not None:
                return _again(request, mark, digest)
            response = view(request, member, *args, **kwargs)
            if not 300 <= response.status_code < 400:
                transaction.set_rollback(True)
                return response
            keep_answer(
                mark=mark,
                status=response.status_code,
                headers={"Location": response["Location"]},
                body=b"",
            )
        return response

    return guarded


def content_digest(request: HttpRequest) -> str:
    """Keyed digest of the address and everything in the form but its keys; of a file its bytes."""
    content = hashlib.sha256(request.path.encode())
    for name, values in sorted(request.POST.lists()):
        if name not in NOT_CONTENT:
            content.update(repr((name, values)).encode())
    for name, files in sorted(request.FILES.lists()):
        content.update(name.encode())
        for file in files:
            content.update(file.read())
            file.seek(0)
    return keyed_digest(content.digest())


def _again(request: HttpRequest, mark: RememberedAnswer, digest: str) -> HttpResponse:
    if mark.request_digest != digest:
        raise FormSentBefore(
            "What it said the first time was done. To do another thing, open the form anew and send that."
        )
    messages.info(request, "This was sent twice; it was done once.")
    return on_to(mark.headers["Location"])
