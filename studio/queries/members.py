"""Reading who is in a studio, and as which member a person acts."""

from django.db.models import QuerySet

from studio.kernel.errors import NotFound
from studio.models import ApiKey, Invitation, Member, Person, Role, ScopedQuerySet, Studio
from studio.models.scoped import NoSuchThing


def members_of(studio: Studio) -> QuerySet[Member]:
    """All members of a studio, also those who left, with their persons."""
    return Member.objects.filter(studio=studio).select_related("person")


def member_of(studio: Studio, member_id: int) -> Member:
    """One of them; raises `NoSuchThing`."""
    member = members_of(studio).filter(pk=member_id).first()
    if member is None:
        raise NoSuchThing(f"There is no member {member_id} in this studio.")
    return member


def invitations_of(studio: Studio) -> ScopedQuerySet[Invitation]:
    """All invitations with the names a list shows; one statement."""
    return Invitation.objects.of(studio).select_related("by__person", "accepted_by__person")


def active_membership(*, person: Person, preferred: int | None = None) -> Member | None:
    """The membership in which `person` acts: the preferred one if it is active, else the first active one."""
    active = Member.objects.select_related("studio", "person").filter(person=person, left_at=None)
    found = list(active.order_by("id"))
    chosen = [member for member in found if member.pk == preferred]
    return next(iter(chosen or found), None)


def studio_called(text: str) -> Studio:
    """The studio of this name or key; raises `NotFound` for none, and for a name that several have."""
    found = list(Studio.objects.filter(name=text).order_by("id")[:2])
    if not found and text.isascii() and text.isdigit():
        found = list(Studio.objects.filter(pk=int(text)))
    if len(found) != 1:
        named = ", ".join(f"{studio.pk} ({studio})" for studio in Studio.objects.order_by("id")[:20])
        raise NotFound(f"There is not one studio called {text[:80]}. Give one of the keys: {named}.")
    return found[0]


def keys_seen_by(member: Member) -> QuerySet[ApiKey]:
    """The keys a member may see: their own, and for an owner all of the studio."""
    keys = ApiKey.objects.select_related("member__person").filter(member__studio=member.studio_id)
    return keys if member.role == Role.OWNER else keys.filter(member=member)


def key_seen_by(member: Member, key_id: int) -> ApiKey:
    """One of those keys; raises `NotFound`, also for the key of somebody else."""
    key = keys_seen_by(member).filter(pk=key_id).first()
    if key is None:
        raise NotFound("There is no such key.")
    return key


def keys_of(member: Member) -> list[ApiKey]:
    """A member's own keys, newest first."""
    return list(ApiKey.objects.filter(member=member).order_by("-created_at", "-id"))


def memberships_of(person: Person) -> list[Member]:
    """The studios a person is in at present, by name."""
    rows = Member.objects.select_related("studio").filter(person=person, left_at=None)
    return list(rows.order_by("studio__name", "id"))
