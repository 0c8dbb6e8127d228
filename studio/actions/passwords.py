"""Choosing the password one signs in with. It is judged by the rules in the settings and kept only as a hash."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from studio.actions.history import record
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
        record(by=by, at=at, subject="member", name=person.name, verb="password changed")
    return person
