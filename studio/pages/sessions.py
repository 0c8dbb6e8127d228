"""Where one is signed in, and signing out from afar; and the middleware that notes when a browser was last seen."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.sessions import end_other_sessions, end_session, note_seen
from studio.models import Member
from studio.pages.acting import for_members
from studio.pages.answers import done, shown
from studio.pages.once import once
from studio.queries.sessions import sessions_of


class Seen:
    """Notes that a browser was here; costs a statement every few minutes."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        row = getattr(request.session, "row", None)
        if row is not None:
            note_seen(session=row, at=timezone.now())
        return response


@require_safe
@for_members
def sessions(request: HttpRequest, member: Member) -> HttpResponse:
    """Every browser one is signed in with."""
    found = sessions_of(member.person, now=timezone.now(), here=request.session.session_key)
    return shown(request, "studio/sessions.html", {"sessions": found})


@require_POST
@for_members
@once
def end(request: HttpRequest, member: Member, name: str) -> HttpResponse:
    """Sign one browser out."""
    end_session(by=member, at=timezone.now(), name=name)
    return done(request, "That browser is signed out.", "sessions")


@require_POST
@for_members
@once
def end_others(request: HttpRequest, member: Member) -> HttpResponse:
    """Sign all others out."""
    end_other_sessions(by=member, at=timezone.now(), kept=request.session.session_key or "")
    return done(request, "You are signed in here and nowhere else.", "sessions")
