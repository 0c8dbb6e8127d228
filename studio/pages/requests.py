"""Around every request: an id that its log lines and its answer carry, one line about it, and how long it took.

A proxy may give the id in X-Request-Id. The line names the route and not the address, because an address can hold what
nobody should read in a log.
"""

import logging
import re
from collections.abc import Callable
from time import perf_counter
from uuid import uuid4

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from studio.kernel.logs import known_as
from studio.kernel.metrics import count_request

HEADER = "X-Request-Id"
_FIT = re.compile(r"[A-Za-z0-9._-]{8,64}")
log = logging.getLogger("stillroom.requests")

Answer = Callable[[HttpRequest], HttpResponseBase]


class Requests:
    """Names, times and counts every request."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        given = request.headers.get(HEADER, "")
        name = given if _FIT.fullmatch(given) else uuid4().hex
        began = perf_counter()
        with known_as(name):
            response = self.get_response(request)
            _tell(request, response.status_code, perf_counter() - began)
        response.headers[HEADER] = name
        return response


def _tell(request: HttpRequest, status: int, seconds: float) -> None:
    route = request.resolver_match.route if request.resolver_match else "(none)"
    method = request.method if request.method in _METHODS else "(other)"
    count_request(method=str(method), route=route, status=status, seconds=seconds)
    told = {"method": method, "route": route, "status": status, "ms": round(1000 * seconds, 1)}
    log.info("%s /%s %s in %.0f ms", method, route, status, 1000 * seconds, extra={"told": told})


_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}
