"""Inviting somebody into a studio by a link, and coming in by it.

The link is the proof: whoever holds it comes in, once, until it ends. So it is long and random, kept only as a digest,
and inviting the same address again ends the link before it.
"""

from datetime import datetime, timedelta

from studio.actions.history import record
from studio.actions.joining import join_studio
from studio.actions.people import (
    address_of,
    check_address,
    check_person,
    new_person,
    refuse_others_than_owners,
)
from studio.actions.studios import AlreadyMember
from studio.kernel.errors import Faults, NotFound
from studio.kernel.secrets import digest, new_secret, well_formed
from studio.kernel.work import work
from studio.models import Invitation, Member, Person, Role

GOOD_FOR = timedelta(days=7)


class NoSuchInvitation(NotFound):
    """The link leads to no invitation that is still open: used, withdrawn, too old, or mistyped."""

    code = "no-such-invitation"
    title = "This invitation does not lead on"


def invite(*, by: Member, at: datetime, email: str, role: str) -> tuple[Invitation, str]:
    """An invitation and the secret of its link, which is not kept. An open one to the same address ends.

    Raises `OwnersOnly`, `Invalid` with all faults, `AlreadyMember`.
    """
    refuse_others_than_owners(by)
    faults = Faults()
    check_address(email, faults)
    if role not in Role.values:
        faults.add("role", f"A role is one of {', '.join(Role.values)}.")
    faults.refuse_if_any()
    address = address_of(email)
    if Member.objects.filter(studio=by.studio_id, person__email=address, left_at=None).exists():
        raise AlreadyMember(f"{address} is a member of {by.studio} already.")
    secret = new_secret()
    with work():
        Invitation.objects.of(by.studio_id).filter(email=address, ended_at=None).update(ended_at=at)
        invitation = Invitation.objects.create(
            studio_id=by.studio_id,
            email=address,
            role=role,
            digest=digest(secret),
            made_at=at,
            by=by,
            expires_at=at + GOOD_FOR,
        )
        record(by=by, at=at, subject="member", name=address, verb="invited", changes={"role": [None, role]})
    return invitation, secret


def withdraw_invitation(*, by: Member, at: datetime, invitation_id: int) -> Invitation:
    """End an invitation; its link leads nowhere any more. To withdraw twice is to withdraw once."""
    refuse_others_than_owners(by)
    with work():
        invitation: Invitation = (
            Invitation.objects.select_for_update(of=("self",))
            .select_related("by__person")
            .one(by.studio_id, "invitation", id=invitation_id)
        )
        if invitation.ended_at is None:
            invitation.ended_at = at
            invitation.save(update_fields=["ended_at"])
            record(by=by, at=at, subject="member", name=invitation.email, verb="invitation withdrawn")
    return invitation


def invitation_behind(secret: str, at: datetime, *, lock: bool = False) -> Invitation:
    """The open invitation that a link leads to. Raises `NoSuchInvitation`."""
    rows = Invitation.objects.select_related("studio", "by__person")
    if lock:
        rows = rows.select_for_update(of=("self",))
    found = rows.filter(digest=digest(secret), ended_at=None).first() if well_formed(secret) else None
    if found is None or found.expires_at <= at:
        raise NoSuchInvitation(
            "It was used or withdrawn, or is older than a week. Ask whoever sent it for another."
        )
    return found


def accept_invitation(*, person: Person, at: datetime, secret: str) -> Member:
    """Come in as somebody who can sign in already. Raises `NoSuchInvitation`."""
    with work():
        invitation = invitation_behind(secret, at, lock=True)
        return _come_in(invitation, person, at)


def accept_as_newcomer(*, at: datetime, secret: str, name: str, email: str, password: str) -> Member:
    """Come in as a new person. Raises `NoSuchInvitation`, `Invalid` with all faults, `EmailTaken`."""
    faults = Faults()
    check_person("name", name, email, password, faults)
    faults.refuse_if_any()
    with work():
        invitation = invitation_behind(secret, at, lock=True)
        return _come_in(invitation, new_person(name, email, password), at)


def _come_in(invitation: Invitation, person: Person, at: datetime) -> Member:
    """Who comes back gets the role they are invited to now; who is in already keeps theirs."""
    role = Role(invitation.role)
    Member.objects.filter(studio=invitation.studio, person=person, left_at__isnull=False).update(role=role)
    member = join_studio(person=person, studio=invitation.studio, role=role, at=at)
    invitation.ended_at, invitation.accepted_by = at, member
    invitation.save(update_fields=["ended_at", "accepted_by"])
    return member
