"""What an owner decides about members: their role, that one leaves, and who owns the studio after them."""

from datetime import datetime

from studio.actions.history import record
from studio.actions.leaving import LastOwner, end_membership
from studio.actions.people import refuse_others_than_owners
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.work import work
from studio.models import ApiKey, Member, Role, Scope
from studio.models.scoped import NoSuchThing


class NotOneself(Conflict):
    """One leaves, or hands over, but does not remove oneself."""

    code = "not-oneself"
    title = "Not for oneself"


def change_role(*, by: Member, at: datetime, member_id: int, role: str) -> Member:
    """Give a member another role; keys that reach further than it end. Raises `OwnersOnly`, `LastOwner`."""
    refuse_others_than_owners(by)
    if role not in Role.values:
        sentence = f"A role is one of {', '.join(Role.values)}."
        raise Invalid(sentence, errors={"role": [sentence]})
    with work():
        member = _lock(by, member_id)
        _set_role(by, at, member, Role(role))
    return member


def remove_member(*, by: Member, at: datetime, member_id: int, why: str = "") -> Member:
    """End somebody's membership and all their keys; what they wrote keeps their name."""
    refuse_others_than_owners(by)
    if member_id == by.pk:
        raise NotOneself("Leave the studio on your own page instead.")
    with work():
        member = _lock(by, member_id)
        end_membership(member, at)
        record(by=by, at=at, subject="member", name=str(member), verb="removed", why=why)
    return member


def hand_over_studio(*, by: Member, at: datetime, member_id: int) -> Member:
    """Make another member owner and oneself a maker, both or neither."""
    refuse_others_than_owners(by)
    if member_id == by.pk:
        raise NotOneself("You own it already; name somebody else.")
    with work():
        heir = _lock(by, member_id)
        _set_role(by, at, heir, Role.OWNER)
        _set_role(by, at, _lock(by, by.pk), Role.MAKER)
    return heir


def _lock(by: Member, member_id: int) -> Member:
    """The active member, with all owners of the studio locked first, so that the last two cannot step down at once."""
    rows = Member.objects.select_for_update(of=("self",)).filter(studio=by.studio_id, left_at=None)
    list(rows.filter(role=Role.OWNER).order_by("id"))
    member = rows.select_related("person", "studio").filter(pk=member_id).first()
    if member is None:
        raise NoSuchThing(f"There is no member {member_id} in this studio.")
    return member


def _set_role(by: Member, at: datetime, member: Member, role: Role) -> None:
    if member.role == role:
        return
    others = Member.objects.filter(studio=by.studio_id, role=Role.OWNER, left_at=None).exclude(pk=member.pk)
    if member.role == Role.OWNER and not others.exists():
        raise LastOwner(f"{member} is the last owner of {by.studio}; it would have nobody to look after it.")
    before, member.role = member.role, role
    member.save(update_fields=["role"])
    beyond = {Role.READER: [Scope.WRITE, Scope.ADMIN], Role.MAKER: [Scope.ADMIN], Role.OWNER: []}[role]
    ApiKey.objects.filter(member=member, scope__in=beyond, revoked_at=None).update(revoked_at=at)
    record(
        by=by,
        at=at,
        subject="member",
        name=str(member),
        verb="changed",
        changes={"role": [before, str(role)]},
    )
