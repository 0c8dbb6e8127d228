"""Choosing the password one signs in with. It is judged by the rules in the settings and kept only as a hash."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from studio.actions.history import record
from studio.actions.sessions import drop_sessions
from studio.kernel.errors import Invalid
from studio.kernel.work import work
from studio.models import Member, Person


def choose_password(*, by: Member, at: datetime, password: str) -> Person:
    """Give the person who acts a new password; sessions begun with the old one end. Raises `Invalid`."""
    person = by.person
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid(error.messages[0], errors={"password": list(error.messages)}) from None
    with work():
        person.set_password(password)
        person.save(update_fields=["password"])
        drop_sessions(person=person)
        record(by=by, at=at, subject="member", name=person.name, verb="password changed")
    return person


def password_was_changed(*, person: Person, at: datetime, kept: str | None = None) -> None:
    """After a new password: end the person's sessions, all or all but the one with the key `kept`, and note it everywhere."""
    with work():
        drop_sessions(person=person, kept=kept)
        for member in person.memberships.select_related("studio").filter(left_at=None).order_by("id"):
            record(by=member, at=at, subject="member", name=person.name, verb="password changed")
