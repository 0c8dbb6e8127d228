"""Leaving a studio: what was written keeps the name, and nothing more can be written under it."""

from datetime import datetime

from studio.actions.history import record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import ApiKey, Member, Role


class LastOwner(Conflict):
    """A studio keeps at least one owner, because only owners take members in."""

    code = "last-owner"
    title = "The last owner stays"


def leave_studio(*, by: Member, at: datetime) -> Member:
    """End a membership and all its keys. Raises `LastOwner`; to leave twice is to leave once."""
    with work():
        member = Member.objects.select_for_update(of=("self",)).get(pk=by.pk)
        if member.left_at is not None:
            return member
        others = Member.objects.filter(studio=by.studio_id, role=Role.OWNER, left_at=None).exclude(pk=by.pk)
        if by.role == Role.OWNER and not others.exists():
            raise LastOwner(f"You are the last owner of {by.studio}; it would have nobody to look after it.")
        end_membership(member, at)
        record(by=by, at=at, subject="member", name=str(by), verb="left")
    return member


def end_membership(member: Member, at: datetime) -> None:
    """Note that a locked member is gone, and end their keys. The verb around it writes the history."""
    member.left_at = at
    member.save(update_fields=["left_at"])
    ApiKey.objects.filter(member=member, revoked_at=None).update(revoked_at=at)
