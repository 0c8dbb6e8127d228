"""Who asks: a bearer key, or the session of the pages.

Either way `request.user` is the acting `Member`, with its studio and person loaded, and `request.auth` the key or
None. A key costs one statement; once a minute a second one notes when it was last used.
"""

from datetime import datetime

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.request import Request

from studio.actions.keys import note_use
from studio.api.refusals import NotSignedIn
from studio.kernel.secrets import digest, well_formed
from studio.models import ApiKey, Member, Person
from studio.queries.members import active_membership

REALM = 'Bearer realm="Stillroom"'


class BearerKey(BaseAuthentication):
    """`Authorization: Bearer still_…`."""

    def authenticate(self, request: Request) -> tuple[Member, ApiKey] | None:
        scheme, _, secret = request.headers.get("Authorization", "").strip().partition(" ")
        if not scheme:
            return None
        if scheme.lower() != "bearer":
            raise refused("Only the scheme Bearer is understood in Authorization.")
        now = timezone.now()
        key = valid_key(secret.strip(), now)
        note_use(key=key, at=now)
        return key.member, key

    def authenticate_header(self, request: Request) -> str:
        return REALM


def valid_key(secret: str, now: datetime) -> ApiKey:
    """The living key of `secret`; raises `NotSignedIn` saying what is wrong with it."""
    if not well_formed(secret):
        raise refused("This is not a whole key of this service; copy it again from where you kept it.")
    key = (
        ApiKey.objects.select_related("member__studio", "member__person")
        .filter(digest=digest(secret))
        .first()
    )
    if key is None:
        raise refused("This key is unknown.")
    if key.revoked_at is not None:
        raise refused("This key was revoked.")
    if key.expires_at is not None and key.expires_at <= now:
        raise refused("This key has expired.")
    if key.member.left_at is not None or not key.member.person.is_active:
        raise refused("The member of this key has left.")
    return key


def refused(sentence: str) -> NotSignedIn:
    return NotSignedIn(sentence, headers={"WWW-Authenticate": f'{REALM}, error="invalid_token"'})


class PageSession(SessionAuthentication):
    """The session of the pages, with its CSRF token; the member is the one chosen there, or the first."""

    def authenticate(self, request: Request) -> tuple[Member, None] | None:
        person = getattr(request._request, "user", None)
        if not isinstance(person, Person) or not person.is_active:
            return None
        self.enforce_csrf(request)
        member = active_membership(person=person, preferred=request._request.session.get("member"))
        return None if member is None else (member, None)
