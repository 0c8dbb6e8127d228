"""Issuing and revoking the keys of the API, and noting their use."""

from datetime import datetime, timedelta

from django.db import OperationalError
from django.db.models import Q

from studio.actions.history import record
from studio.kernel.errors import Faults, Forbidden, NotFound
from studio.kernel.secrets import LISTED, digest, new_secret
from studio.kernel.work import work
from studio.models import ApiKey, Member, Role, Scope

NOTED_EVERY = timedelta(minutes=1)


class ScopeBeyondRole(Forbidden):
    """A key reaches no further than its member: readers get read keys, and admin keys are for owners."""

    code = "scope-beyond-role"
    title = "More than your role may do"


def issue_key(
    *, by: Member, name: str, scope: str, at: datetime, expires_at: datetime | None = None
) -> tuple[ApiKey, str]:
    """A new key of `by` and its secret, which is not kept and cannot be shown again.

    Raises `Invalid` for an end that has passed, `ScopeBeyondRole` for more than the member's role may do.
    """
    faults = Faults()
    if scope not in Scope.values:
        faults.add("scope", f"A key's scope is one of {', '.join(Scope.values)}.")
    if not name.strip():
        faults.add("name", "Name the key after what will use it.")
    if expires_at is not None and expires_at <= at:
        faults.add("expires_at", "The key would have expired already; give a time to come.")
    faults.refuse_if_any()
    reach = {Role.READER: [Scope.READ], Role.MAKER: [Scope.READ, Scope.WRITE], Role.OWNER: [*Scope]}
    if scope not in reach[Role(by.role)]:
        raise ScopeBeyondRole(
            f"As {by.role} you may have keys for {', '.join(reach[Role(by.role)])}, not {scope}."
        )
    secret = new_secret()
    with work():
        key = ApiKey.objects.create(
            member=by,
            name=name.strip(),
            prefix=secret[:LISTED],
            digest=digest(secret),
            scope=scope,
            created_at=at,
            expires_at=expires_at,
        )
        record(by=by, at=at, subject="key", name=key.prefix, verb="issued", changes={"scope": [None, scope]})
    return key, secret


def revoke_key(*, by: Member, at: datetime, key_id: int, why: str = "") -> ApiKey:
    """End a key at once: one's own, or as owner any of the studio. Revoking again changes nothing.

    Raises `NotFound`, also for the key of somebody else.
    """
    with work():
        keys = ApiKey.objects.filter(member__studio=by.studio_id)
        if by.role != Role.OWNER:
            keys = keys.filter(member=by)
        key = keys.select_for_update(no_key=True, of=("self",)).filter(pk=key_id).first()
        if key is None:
            raise NotFound("There is no such key.")
        if key.revoked_at is None:
            key.revoked_at = at
            key.save(update_fields=["revoked_at"])
            record(by=by, at=at, subject="key", name=key.prefix, verb="revoked", why=why)
    return key


def note_use(*, key: ApiKey, at: datetime) -> None:
    """Note when the key was last used, at most once a minute; a busy database may lose the note."""
    due = at - NOTED_EVERY
    if key.last_used_at is not None and key.last_used_at > due:
        return
    unnoted = Q(last_used_at=None) | Q(last_used_at__lte=due)
    try:
        ApiKey.objects.filter(unnoted, pk=key.pk).update(last_used_at=at)
    except OperationalError:
        return
