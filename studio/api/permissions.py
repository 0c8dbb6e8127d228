"""Who may do what, before any action looks closer: members read; owners and makers write; a key never more than its scope.

The finer rules (a keeper's lot, an owner's settings) belong to the actions, which know the things themselves.
"""

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from studio.api.refusals import NotSignedIn
from studio.kernel.errors import Forbidden
from studio.models import ApiKey, Member, Scope
from studio.models.people import ReadersOnlyRead


class KeyScopeTooSmall(Forbidden):
    """The key was issued for less than this: read keys read, and keys and settings need an admin key."""

    code = "key-scope-too-small"
    title = "The key does not reach that far"


def acting_member(request: Request) -> Member:
    """The member who asks; raises `NotSignedIn` when nobody does."""
    if not isinstance(request.user, Member):
        raise NotSignedIn(
            "Give a key in the header “Authorization: Bearer …”, or sign in.",
            headers={"WWW-Authenticate": 'Bearer realm="Stillroom"'},
        )
    return request.user


class MemberWithin(BasePermission):
    """A member of a studio; for changes one who may write, with a key that may write.

    An endpoint names in `harmless` the unsafe methods that write nothing, and is `for_admins` when its changes
    need an admin key. The session of the pages reaches as far as its member.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        member = acting_member(request)
        if request.method in SAFE_METHODS or request.method in view.harmless:
            return True
        self.check_member(member)
        key = request.auth
        if isinstance(key, ApiKey):
            allowed = (Scope.ADMIN,) if view.for_admins else (Scope.WRITE, Scope.ADMIN)
            if key.scope not in allowed:
                raise KeyScopeTooSmall(f"This key is for {key.scope}; this needs one for {allowed[0]}.")
        return True

    def check_member(self, member: Member) -> None:
        if not member.may_write:
            raise ReadersOnlyRead(
                f"{member} is a reader of {member.studio}; only owners and makers change things."
            )


class AnyMemberWithin(MemberWithin):
    """As `MemberWithin`, but readers too may change what is theirs alone, such as their own keys."""

    def check_member(self, member: Member) -> None:
        """Every role may."""
