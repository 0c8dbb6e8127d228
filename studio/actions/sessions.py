"""Ending sessions: one's own one by one, all others, and those that a new password or one-time codes make worthless."""

from datetime import datetime, timedelta

from django.db import OperationalError

from studio.actions.history import record
from studio.kernel.work import work
from studio.models import BrowserSession, Member, Person
from studio.models.scoped import NoSuchThing

NOTED_EVERY = timedelta(minutes=5)


def end_session(*, by: Member, at: datetime, name: str) -> None:
    """Sign one of one's own browsers out. Raises `NoSuchThing`, also for somebody else's."""
    with work():
        mine = BrowserSession.objects.filter(person=by.person_id)
        keys = [session.session_key for session in mine if session.name == name]
        if not keys:
            raise NoSuchThing("You are not signed in there, or no longer.")
        BrowserSession.objects.filter(session_key__in=keys).delete()
        record(by=by, at=at, subject="member", name=by.person.name, verb="signed out elsewhere")


def end_other_sessions(*, by: Member, at: datetime, kept: str) -> int:
    """Sign all one's browsers out but the one whose session key is `kept`; returns how many."""
    with work():
        ended = drop_sessions(person=by.person, kept=kept)
        if ended:
            record(by=by, at=at, subject="member", name=by.person.name, verb="signed out elsewhere")
    return ended


def drop_sessions(*, person: Person, kept: str | None = None) -> int:
    """End the sessions of a person, all or all but one; returns how many."""
    with work():
        ended, _ = BrowserSession.objects.filter(person=person).exclude(session_key=kept or "").delete()
    return ended


def forget_old_sessions(*, at: datetime) -> int:
    """Drop sessions that have run out; returns how many."""
    with work():
        dropped, _ = BrowserSession.objects.filter(expire_date__lt=at).delete()
    return dropped


def note_seen(*, session: BrowserSession, at: datetime) -> None:
    """Note when a session was last seen, at most every few minutes; a busy database may lose the note."""
    due = at - NOTED_EVERY
    if session.person_id is None or session.seen_at > due:
        return
    try:
        BrowserSession.objects.filter(pk=session.pk, seen_at__lte=due).update(seen_at=at)
    except OperationalError:
        return
