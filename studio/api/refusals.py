"""The refusals that only HTTP knows: who is asking, by which method, in which form, how often.

They stand beside the refusals of the actions in the published catalogue and have the same shape; only here does
a refusal carry its own status and headers.
"""

from collections.abc import Mapping
from typing import Any, ClassVar

from studio.kernel.errors import Refusal


class EdgeRefusal(Refusal):
    """Something about the request itself, before or after the work. Base of the refusals with a status."""

    status: ClassVar[int]

    def __init__(self, message: str, headers: Mapping[str, str] | None = None, **extra: Any) -> None:
        super().__init__(message, **extra)
        self.headers: dict[str, str] = dict(headers or {})


class NotSignedIn(EdgeRefusal):
    """No key or session was given, or it is mistyped, unknown, revoked or expired."""

    code = "not-signed-in"
    title = "Not signed in"
    status = 401


class MethodUnknown(EdgeRefusal):
    """The address exists, but not for this method; `Allow` lists those it has."""

    code = "method-not-allowed"
    title = "Method not allowed"
    status = 405


class FormUnavailable(EdgeRefusal):
    """The answer cannot be given in any of the forms asked for by `Accept` or `format`."""

    code = "form-unavailable"
    title = "No such form of answer"
    status = 406


class Taken(EdgeRefusal):
    """Somebody else wrote the same name, or changed what this refers to, in the same instant."""

    code = "taken"
    title = "Overtaken by another change"
    status = 409


class TooLarge(EdgeRefusal):
    """The body is larger than the service reads."""

    code = "too-large"
    title = "Body too large"
    status = 413


class MediaUnknown(EdgeRefusal):
    """The body is of a kind that this address does not read; JSON is read nearly everywhere."""

    code = "media-unknown"
    title = "Kind of body not read here"
    status = 415


class KeyReused(EdgeRefusal):
    """The idempotency key was used before for another request. A repetition must be the same to the byte."""

    code = "key-reused"
    title = "Key used for another request"
    status = 422


class PreconditionRequired(EdgeRefusal):
    """A change must say in `If-Match` which edition it was decided on, so that nobody's change is lost."""

    code = "precondition-required"
    title = "If-Match is missing"
    status = 428


class TooManyRequests(EdgeRefusal):
    """More requests in this minute than one key may make; `Retry-After` says how many seconds to wait."""

    code = "too-many-requests"
    title = "Too many requests"
    status = 429


class Broken(EdgeRefusal):
    """The service failed. Nothing was done; the same request may be repeated with the same idempotency key."""

    code = "broken"
    title = "The service failed"
    status = 500


class Busy(EdgeRefusal):
    """The database was locked, or not reachable. Nothing was done; repeat it after `Retry-After` seconds."""

    code = "busy"
    title = "Busy, try again"
    status = 503
