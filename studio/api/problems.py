"""Refusals as RFC 9457 `application/problem+json`: the one place where an error gets an HTTP status.

Whatever goes wrong is first turned into a `Refusal`, then written down in one shape: `type` (a stable path that
explains the code), `title`, `status`, `detail` (a sentence for people), `instance` (the path asked for), for bad
input `errors` (dotted field path to sentences), and the refusal's own fields. What is no refusal, such as a
mistake in the program, stays an exception and becomes a plain 500.
"""

import logging
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import DatabaseError, DataError, IntegrityError, InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions as drf
from rest_framework.request import Request

from studio.api.refusals import (
    Broken,
    Busy,
    EdgeRefusal,
    FormUnavailable,
    MediaUnknown,
    MethodUnknown,
    NotSignedIn,
    Taken,
    TooLarge,
    TooManyRequests,
)
from studio.api.rendering import dump
from studio.kernel.errors import Conflict, Forbidden, Invalid, NotFound, Refusal, StaleEdition, TooOften

PROBLEM_JSON = "application/problem+json"
STATUSES: tuple[tuple[type[Refusal], int], ...] = (
    (Invalid, 400),
    (Forbidden, 403),
    (NotFound, 404),
    (Conflict, 409),
    (StaleEdition, 412),
    (TooOften, 429),
)
_LOST_RACES = {"23505", "23503", "23514", "23P01"}
"""SQLSTATEs of a constraint that another transaction can make fail: unique, foreign key, check, exclusion."""
_PASSING = {"40001", "40P01", "55P03", "57014", "57P01", "57P02", "57P03", "53300"}
"""SQLSTATEs that a repetition may overcome: serialisation, deadlock, lock or statement timeout, restart."""

log = logging.getLogger(__name__)


def answer_problem(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """The exception handler of the API: a problem for every refusal, None for what is a fault of ours."""
    refusal = as_refusal(exc)
    return None if refusal is None else problem(context["request"], refusal)


def problem(request: HttpRequest | Request, refusal: Refusal) -> HttpResponse:
    """The answer that tells of `refusal`."""
    status = status_of(type(refusal))
    body: dict[str, Any] = dict(refusal.extra)
    body |= {
        "type": f"/problems/{refusal.code}",
        "title": refusal.title,
        "status": status,
        "detail": refusal.message,
        "instance": escape_uri_path(request.path),
    }
    if isinstance(refusal, Invalid) and refusal.errors:
        body["errors"] = refusal.errors
    headers = {"Cache-Control": "no-store", **getattr(refusal, "headers", {})}
    if isinstance(refusal, TooOften):
        headers["Retry-After"] = str(refusal.seconds)
    return HttpResponse(dump(body), status=status, content_type=PROBLEM_JSON, headers=headers)


def status_of(kind: type[Refusal]) -> int:
    """The status of a class of refusal; one of no particular kind is a conflict with the state of things."""
    if issubclass(kind, EdgeRefusal):
        return kind.status
    return next((status for base, status in STATUSES if issubclass(kind, base)), 409)


def as_refusal(exc: BaseException) -> Refusal | None:
    """`exc` as a refusal with a sentence for people, or None when it is an error in the program."""
    if isinstance(exc, Refusal):
        return exc
    if isinstance(exc, drf.APIException):
        return _from_framework(exc)
    if isinstance(exc, Http404):
        return NotFound("There is nothing at this address.")
    if isinstance(exc, PermissionDenied):
        return Forbidden(str(exc) or "You may not do this.")
    if isinstance(exc, RequestDataTooBig):
        return TooLarge("The body is larger than this service reads; split it.")
    if isinstance(exc, DatabaseError):
        return _from_database(exc)
    if isinstance(exc, InterfaceError):
        return _busy(exc)
    if isinstance(exc, OverflowError) and "SQLite" in str(exc):
        return Invalid("A value is outside of what can be kept.")
    return None


def _from_framework(exc: drf.APIException) -> Refusal | None:
    if isinstance(exc, drf.ValidationError):
        return invalid_shape(exc.detail)
    if isinstance(exc, drf.ParseError):
        return Invalid(str(exc.detail))
    if isinstance(exc, (drf.NotAuthenticated, drf.AuthenticationFailed)):
        challenge = getattr(exc, "auth_header", None) or "Bearer"
        return NotSignedIn(
            "Give a key in the header “Authorization: Bearer …”, or sign in.",
            headers={"WWW-Authenticate": challenge},
        )
    if isinstance(exc, drf.PermissionDenied):
        return Forbidden(str(exc.detail))
    if isinstance(exc, drf.NotFound):
        return NotFound("There is nothing at this address.")
    if isinstance(exc, drf.MethodNotAllowed):
        return MethodUnknown(str(exc.detail))
    if isinstance(exc, drf.NotAcceptable):
        return FormUnavailable("This answer is not available in the form asked for.")
    if isinstance(exc, drf.UnsupportedMediaType):
        return MediaUnknown(f"{exc.detail} Send application/json unless the reference says otherwise.")
    if isinstance(exc, drf.Throttled):
        seconds = max(1, int(getattr(exc, "wait", None) or 1))
        return TooManyRequests(
            f"Too many requests with this key. Try again in {seconds} s.",
            headers={"Retry-After": str(seconds)},
            seconds=seconds,
        )
    return None


def _from_database(exc: DatabaseError) -> Refusal | None:
    """Races and outages as refusals. SQLite has no SQLSTATE, so there the words of its message decide."""
    state: str | None = getattr(exc.__cause__, "sqlstate", None)
    text = str(exc)
    if isinstance(exc, IntegrityError):
        if state in _LOST_RACES or (state is None and text.startswith(("UNIQUE", "FOREIGN KEY", "CHECK"))):
            log.warning("The database refused a write: %s", text)
            return Taken(
                "Somebody else changed this in the same instant. Read it again and repeat if needed."
            )
        return None
    if isinstance(exc, DataError):
        log.warning("The database refused a value: %s", text)
        return Invalid("A value is outside of what can be kept.")
    if isinstance(exc, OperationalError):
        unreachable = state is None and type(exc.__cause__).__module__.startswith("psycopg")
        if state in _PASSING or unreachable or "locked" in text or "busy" in text:
            return _busy(exc)
    return None


def _busy(exc: BaseException) -> Busy:
    log.warning("The database was busy or away: %s", exc)
    return Busy("The service is busy. Nothing was done; try again shortly.", headers={"Retry-After": "1"})


def invalid_shape(detail: Any) -> Invalid:
    """The faults of a request's shape, as one refusal naming every field by its dotted path."""
    errors: dict[str, list[str]] = {}
    for path, sentence in _sentences("", detail):
        errors.setdefault(path or "body", []).append(sentence)
    path, first = next((path, sentences[0]) for path, sentences in errors.items())
    count = sum(len(sentences) for sentences in errors.values())
    more = f" ({count - 1} more below)" if count > 1 else ""
    return Invalid(f"{path}: {first}{more}", errors=errors)


def _sentences(path: str, detail: Any) -> Iterator[tuple[str, str]]:
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            step = "" if name == "non_field_errors" else str(name)
            yield from _sentences(".".join(filter(None, (path, step))), inner)
    elif isinstance(detail, Sequence) and not isinstance(detail, str):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, (Mapping, list))
            yield from _sentences(".".join(filter(None, (path, str(index)))) if nested else path, inner)
    else:
        yield path, str(detail)


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """One published kind of problem: `meaning` is what the docstring of its class says."""

    code: str
    type: str
    title: str
    status: int
    meaning: str


def catalogue() -> list[ProblemKind]:
    """Every kind of problem the service can answer, by code."""
    kinds: dict[str, ProblemKind] = {}
    for kind in _subclasses(Refusal):
        if "code" not in vars(kind):
            continue
        meaning = " ".join((kind.__doc__ or "").replace("`", "").split())
        kinds.setdefault(
            kind.code, ProblemKind(kind.code, f"/problems/{kind.code}", kind.title, status_of(kind), meaning)
        )
    return [kinds[code] for code in sorted(kinds)]


def _subclasses(kind: type[Refusal]) -> Iterator[type[Refusal]]:
    for sub in kind.__subclasses__():
        yield sub
        yield from _subclasses(sub)


def nothing_here(request: HttpRequest) -> HttpResponse:
    """What an unknown address under /api/ answers."""
    hint = "" if request.path.endswith("/") else " Addresses here end in a slash."
    return problem(request, NotFound(f"There is nothing at this address.{hint}"))


def as_away(exc: BaseException | None) -> Busy | None:
    """The refusal when what broke a request is a database that is busy or away for a moment."""
    refusal = None if exc is None else as_refusal(exc)
    return refusal if isinstance(refusal, Busy) else None


def failed(request: HttpRequest) -> HttpResponse:
    """What a mistake of the program under /api/ answers; the cause is in the log, not in the answer.

    Outside of the views, in signing in for one, a database that is away for a moment ends here too.
    """
    if away := as_away(sys.exception()):
        return problem(request, away)
    return problem(request, Broken("Something failed on our side. Nothing was done; you may repeat it."))


def unreadable(request: HttpRequest) -> HttpResponse:
    """What a request under /api/ answers that Django itself could not read."""
    return problem(request, Invalid("The request could not be read."))


def not_allowed(request: HttpRequest) -> HttpResponse:
    """What a request under /api/ answers that Django itself turned away."""
    return problem(request, Forbidden("You may not do this."))
