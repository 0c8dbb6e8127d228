"""Founding a studio, taking members in, and the figures a studio chooses for itself."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from studio.actions.changing import change_fields
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults, Forbidden
from studio.kernel.work import work
from studio.models import Member, Person, Role, Studio

CHOOSABLE = (
    "name",
    "currency",
    "weighing_tolerance",
    "strength_tolerance",
    "claim_days",
    "document_days",
    "two_person_check",
)


class EmailTaken(Conflict):
    """Somebody signs in with that e-mail address already."""

    code = "email-taken"
    title = "The address is taken"


class AlreadyMember(Conflict):
    """That person is, or once was, a member of this studio; a membership is never written twice."""

    code = "already-member"
    title = "Already a member"


class OwnersOnly(Forbidden):
    """Only an owner takes members in and changes what the studio has chosen."""

    code = "owners-only"
    title = "For owners only"


def found_studio(
    *, name: str, owner_name: str, email: str, password: str, at: datetime, currency: str = "EUR"
) -> Member:
    """A new studio with its first owner, who is returned. Raises `Invalid` with all faults, `EmailTaken`."""
    faults = Faults()
    _check_text("name", name, faults)
    _check_currency(currency, faults)
    _check_person("owner_name", owner_name, email, password, faults)
    faults.refuse_if_any()
    with work():
        person = _new_person(owner_name, email, password)
        studio = Studio.objects.create(name=name.strip(), currency=currency, created_at=at)
        owner = Member.objects.create(studio=studio, person=person, role=Role.OWNER, joined_at=at)
        record(by=owner, at=at, subject="studio", name=studio.name, verb="founded")
    return owner


def add_member(*, by: Member, name: str, email: str, password: str, role: str, at: datetime) -> Member:
    """A new person as a member of the studio. Raises `OwnersOnly`, `Invalid`, `AlreadyMember`, `EmailTaken`."""
    refuse_others_than_owners(by)
    faults = Faults()
    if role not in Role.values:
        faults.add("role", f"A role is one of {', '.join(Role.values)}.")
    _check_person("name", name, email, password, faults)
    faults.refuse_if_any()
    with work():
        if Member.objects.filter(studio=by.studio_id, person__email=_address(email)).exists():
            raise AlreadyMember(f"{_address(email)} is a member of {by.studio} already.")
        person = _new_person(name, email, password)
        member = Member.objects.create(studio_id=by.studio_id, person=person, role=role, joined_at=at)
        record(by=by, at=at, subject="member", name=person.name, verb="added", changes={"role": [None, role]})
    return member


def choose_figures(*, by: Member, at: datetime, changes: Mapping[str, Any], expected: int | None) -> Studio:
    """Change what the studio has chosen for itself: its name, tolerances, currency, days of a claim,
    whether batches are checked by a second person.

    Raises `OwnersOnly`, `Invalid` with all faults, `StaleEdition`.
    """
    refuse_others_than_owners(by)
    faults = Faults()
    wanted = {field: value for field, value in changes.items() if field in CHOOSABLE}
    for field in ("weighing_tolerance", "strength_tolerance"):
        if field in wanted and not Decimal(0) < wanted[field] <= 1:
            faults.add(field, f"A tolerance is a fraction above 0 and at most 1, not {wanted[field]}.")
    if "claim_days" in wanted and not 1 <= wanted["claim_days"] <= 3650:
        faults.add("claim_days", "A claim is kept for 1 to 3650 days.")
    if "document_days" in wanted and not 1 <= wanted["document_days"] <= 3650:
        faults.add("document_days", "A paper is kept for 1 to 3650 days.")
    if "name" in wanted:
        _check_text("name", wanted["name"], faults)
    if "currency" in wanted:
        _check_currency(wanted["currency"], faults)
    faults.refuse_if_any()
    studio = Studio.objects.get(pk=by.studio_id)
    return change_fields(
        by=by, at=at, row=studio, subject="studio", name=studio.name, changes=wanted, expected=expected
    )


def refuse_others_than_owners(by: Member) -> None:
    """Raise `OwnersOnly` for anybody who is not, or no longer, an owner."""
    if by.role != Role.OWNER or by.left_at is not None:
        raise OwnersOnly(f"Only an owner of {by.studio} may do this.")


def _check_text(field: str, text: str, faults: Faults) -> None:
    if not text.strip():
        faults.add(field, "This must not be empty.")
    elif len(text.strip()) > 120:
        faults.add(field, "At most 120 characters are kept.")


def _check_currency(currency: str, faults: Faults) -> None:
    if not (len(currency) == 3 and currency.isascii() and currency.isalpha() and currency.isupper()):
        faults.add("currency", "A currency is given by its three capital letters, such as EUR.")


def _check_person(name_field: str, name: str, email: str, password: str, faults: Faults) -> None:
    _check_text(name_field, name, faults)
    try:
        validate_email(_address(email))
    except ValidationError:
        faults.add("email", "This is not an e-mail address.")
    try:
        validate_password(password)
    except ValidationError as error:
        for sentence in error.messages:
            faults.add("password", sentence)


def _address(email: str) -> str:
    return email.strip().lower()


def _new_person(name: str, email: str, password: str) -> Person:
    address = _address(email)
    if Person.objects.filter(email=address).exists():
        raise EmailTaken(f"Somebody signs in as {address} already; take another address.")
    return Person.objects.create_user(address, password, name=name.strip())
