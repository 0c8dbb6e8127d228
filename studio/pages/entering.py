"""Letting somebody in who has shown who they are; where they are asked for one-time codes, only after a code.

Between password and code the session is nobody's: it only knows who is expected, for ten minutes, and as long as the
password stays the same. Every way in ends in `enter`, which gives the session a new key.
"""

import time
from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.crypto import constant_time_compare

from studio.kernel.browsers import browser_told
from studio.models import Person
from studio.models.sessions import CAME

BACKEND = "django.contrib.auth.backends.ModelBackend"
AWAITED = "awaited"
AWAITED_SECONDS = 600


@dataclass(frozen=True, slots=True)
class Awaited:
    """Somebody whose password was right and whose code is to come, and where they want to go."""

    person: Person
    onward: str


def enter(request: HttpRequest, person: Person) -> None:
    """Sign `person` in, in a session under a new key."""
    request.session.pop(AWAITED, None)
    login(request, person, backend=BACKEND)
    request.session[CAME] = {
        "browser": browser_told(request.headers.get("User-Agent", "")),
        "address": _address(request),
        "at": timezone.now().isoformat(),
    }


def _address(request: HttpRequest) -> str:
    """Where a request comes from; behind the proxy of a public address, what that proxy says."""
    told = request.headers.get("X-Forwarded-For", "") if settings.ORIGIN.startswith("https://") else ""
    return (told.rpartition(",")[2].strip() or request.META.get("REMOTE_ADDR", ""))[:45]


def await_code(request: HttpRequest, person: Person, onward: str) -> None:
    """Remember that the password of `person` was right; nobody is signed in yet."""
    request.session[AWAITED] = {
        "person": person.pk,
        "until": int(time.time()) + AWAITED_SECONDS,
        "password": person.get_session_auth_hash(),
        "onward": onward,
    }


def awaited(request: HttpRequest) -> Awaited | None:
    """Who is expected to give a code in this session; None when nobody is, or no longer."""
    told = request.session.get(AWAITED)
    if not told or told["until"] < time.time():
        return None
    person = Person.objects.filter(pk=told["person"], is_active=True).first()
    if person is None or not constant_time_compare(told["password"], person.get_session_auth_hash()):
        return None
    return Awaited(person, told["onward"] or resolve_url(settings.LOGIN_REDIRECT_URL))
