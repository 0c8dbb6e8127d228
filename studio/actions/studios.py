"""Founding a studio, taking members in, and the figures a studio chooses for itself."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from studio.actions.changing import change_fields
from studio.actions.history import record
from studio.actions.people import address_of, check_person, check_text, new_person, refuse_others_than_owners
from studio.kernel.errors import Conflict, Faults
from studio.kernel.work import work
from studio.models import Member, Role, Studio

CHOOSABLE = (
    "name",
    "currency",
    "weighing_tolerance",
    "strength_tolerance",
    "claim_days",
    "document_days",
    "two_person_check",
)


class AlreadyMember(Conflict):
    """That person is, or once was, a member of this studio; a membership is never written twice."""

    code = "already-member"
    title = "Already a member"


def found_studio(
    *, name: str, owner_name: str, email: str, password: str, at: datetime, currency: str = "EUR"
) -> Member:
    """A new studio with its first owner, who is returned. Raises `Invalid` with all faults, `EmailTaken`."""
    faults = Faults()
    check_text("name", name, faults)
    _check_currency(currency, faults)
    check_person("owner_name", owner_name, email, password, faults)
    faults.refuse_if_any()
    with work():
        person = new_person(owner_name, email, password)
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
    check_person("name", name, email, password, faults)
    faults.refuse_if_any()
    with work():
        if Member.objects.filter(studio=by.studio_id, person__email=address_of(email)).exists():
            raise AlreadyMember(f"{address_of(email)} is a member of {by.studio} already.")
        person = new_person(name, email, password)
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
        check_text("name", wanted["name"], faults)
    if "currency" in wanted:
        _check_currency(wanted["currency"], faults)
    faults.refuse_if_any()
    studio = Studio.objects.get(pk=by.studio_id)
    return change_fields(
        by=by, at=at, row=studio, subject="studio", name=studio.name, changes=wanted, expected=expected
    )


def _check_currency(currency: str, faults: Faults) -> None:
    if not (len(currency) == 3 and currency.isascii() and currency.isalpha() and currency.isupper()):
        faults.add("currency", "A currency is given by its three capital letters, such as EUR.")
