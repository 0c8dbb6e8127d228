"""A person who can sign in already becomes a member of a further studio, or comes back to one they had left."""

from datetime import datetime

from studio.actions.history import record
from studio.kernel.work import work
from studio.models import Member, Person, Role, Studio


def join_studio(*, person: Person, studio: Studio, role: Role, at: datetime) -> Member:
    """The membership of `person` in `studio`, which is new, taken up again, or as it was.

    Whoever calls this has made sure that the person may come in; coming back never changes the role.
    """
    with work():
        member, is_new = Member.objects.select_related("studio", "person").get_or_create(
            studio=studio, person=person, defaults={"role": role, "joined_at": at}
        )
        if not is_new and member.left_at is None:
            return member
        if not is_new:
            member.left_at = None
            member.save(update_fields=["left_at"])
        record(by=member, at=at, subject="member", name=str(member), verb="joined")
    return member
