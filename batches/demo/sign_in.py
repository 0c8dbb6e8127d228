"""How to get into the demo studio: made up at random once, and kept beside the data so that it can be told again.

The database holds only hashes of the password and the key. What is found in the file is therefore tried against them,
and what is lost or no longer fits is replaced: the file may have gone, or belong to another database.
"""

import json
import os
import secrets
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from django.db.models import Q

from batches.demo.filling import fill_demo_studio
from batches.demo.sheets import Sheets
from studio.actions.keys import issue_key, revoke_key
from studio.actions.passwords import choose_password
from studio.kernel.secrets import digest
from studio.kernel.work import work
from studio.models import ApiKey, Member, Scope

KEY_NAME = "demo"
ONLY_ITS_OWNER = 0o600
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""No look-alikes, because the password is copied by hand as well."""


@dataclass(frozen=True, slots=True)
class SignIn:
    """Where the demo studio is and what opens it: the owner's address, the password of its invented people, an API key."""

    url: str
    email: str
    password: str
    key: str


def open_demo_studio(
    *, now: datetime, sheets: Sheets, url: str, kept_in: Path, say: Callable[[str], None] = lambda _: None
) -> SignIn:
    """The sign-in of the demo studio, which is filled when there is none. All of it is done, or nothing."""
    kept = _read(kept_in)
    with work():
        owner = demo_owner(sheets)
        if owner is None:
            password = _new_password()
            owner = fill_demo_studio(now=now, sheets=sheets, password=password, say=say).owner
        elif kept and owner.person.check_password(kept.password):
            password = kept.password
        else:
            password = _renew_password(owner, sheets, now)
        key = kept.key if kept and _opens(kept.key, owner, now) else _renew_key(owner, now)
    sign_in = SignIn(url=url, email=owner.person.email, password=password, key=key)
    if sign_in != kept:
        _keep(sign_in, kept_in)
    return sign_in


def demo_owner(sheets: Sheets) -> Member | None:
    """The owner of the demo studio, known by an address that nobody else can have; None when there is no such studio."""
    first = sheets.scenario["members"][0]["email"]
    members = Member.objects.select_related("studio", "person")
    return members.filter(person__email=first).order_by("id").first()


def _renew_password(owner: Member, sheets: Sheets, now: datetime) -> str:
    """A new password for the invented people, all the same, so that one can look through other eyes too.

    Whoever else has joined the studio keeps their own.
    """
    password = _new_password()
    invented = [told["email"] for told in sheets.scenario["members"]]
    members = owner.studio.members.select_related("person", "studio").filter(person__email__in=invented)
    for member in members.order_by("id"):
        choose_password(by=member, at=now, password=password)
    return password


def _renew_key(owner: Member, now: datetime) -> str:
    """A new key; those given out before under the same name end, because nobody knows any more who has them."""
    for lost in ApiKey.objects.filter(member=owner, name=KEY_NAME, revoked_at=None).order_by("id"):
        revoke_key(by=owner, at=now, key_id=lost.id, why="The demo sign-in was made anew.")
    return issue_key(by=owner, name=KEY_NAME, scope=Scope.ADMIN, at=now)[1]


def _opens(secret: str, owner: Member, now: datetime) -> bool:
    living = Q(expires_at=None) | Q(expires_at__gt=now)
    return ApiKey.objects.filter(living, member=owner, digest=digest(secret), revoked_at=None).exists()


def _new_password() -> str:
    """Fifteen random letters and digits in three groups (74 bits)."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(5)) for _ in range(3))


def _read(file: Path) -> SignIn | None:
    """What was kept, or None when it is not there or not readable as that."""
    try:
        kept = json.loads(file.read_text("utf-8"))
        return SignIn(**{name: str(kept[name]) for name in SignIn.__slots__})
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return None


def _keep(sign_in: SignIn, file: Path) -> None:
    """Write the sign-in for its owner's eyes alone, whole or not at all."""
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_name(f"{file.name}.new")
    beside.unlink(missing_ok=True)
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, ONLY_ITS_OWNER)
    with open(handle, "w", encoding="utf-8") as new:
        new.write(as_line(sign_in) + "\n")
    beside.replace(file)


def as_line(sign_in: SignIn) -> str:
    """The sign-in as one line of JSON."""
    return json.dumps(asdict(sign_in))
