"""What a person is judged by before they are written, and what only owners may do."""

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from studio.kernel.errors import Conflict, Faults, Forbidden
from studio.models import Member, Person, Role


class EmailTaken(Conflict):
    """Somebody signs in with that e-mail address already."""

    code = "email-taken"
    title = "The address is taken"


class OwnersOnly(Forbidden):
    """Only an owner takes members in and changes what the studio has chosen."""

    code = "owners-only"
    title = "For owners only"


def refuse_others_than_owners(by: Member) -> None:
    """Raise `OwnersOnly` when `by` is no owner of the studio at present."""
    if by.role != Role.OWNER or by.left_at is not None:
        raise OwnersOnly(f"Only an owner of {by.studio} may do this.")


def check_text(field: str, text: str, faults: Faults) -> None:
    """Gather what is wrong with a name."""
    if not text.strip():
        faults.add(field, "This must not be empty.")
    elif len(text.strip()) > 120:
        faults.add(field, "At most 120 characters are kept.")


def check_person(name_field: str, name: str, email: str, password: str, faults: Faults) -> None:
    """Gather what is wrong with a new person's name, address and password."""
    check_text(name_field, name, faults)
    check_address(email, faults)
    try:
        validate_password(password)
    except ValidationError as error:
        for sentence in error.messages:
            faults.add("password", sentence)


def check_address(email: str, faults: Faults) -> None:
    """Gather what is wrong with an e-mail address."""
    try:
        validate_email(address_of(email))
    except ValidationError:
        faults.add("email", "This is not an e-mail address.")


def address_of(email: str) -> str:
    """An e-mail address as it is kept and compared."""
    return email.strip().lower()


def new_person(name: str, email: str, password: str) -> Person:
    """Write somebody who can sign in. Raises `EmailTaken`."""
    address = address_of(email)
    if Person.objects.filter(email=address).exists():
        raise EmailTaken(f"Somebody signs in as {address} already; take another address.")
    return Person.objects.create_user(address, password, name=name.strip())
