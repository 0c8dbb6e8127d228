"""Where a person is signed in."""

from dataclasses import dataclass
from datetime import datetime

from studio.models import BrowserSession, Person


@dataclass(frozen=True, slots=True)
class SignedIn:
    """One browser a person is signed in with; `here` when it is the one that asks."""

    name: str
    browser: str
    address: str
    began_at: datetime
    seen_at: datetime
    here: bool


def sessions_of(person: Person, *, now: datetime, here: str | None) -> list[SignedIn]:
    """The living sessions of a person, the one with the key `here` first, then by when they were last seen; one statement."""
    rows = BrowserSession.objects.filter(person=person, expire_date__gt=now).order_by("-seen_at", "pk")
    found = [
        SignedIn(
            name=row.name,
            browser=row.browser,
            address=row.address,
            began_at=row.began_at,
            seen_at=row.seen_at,
            here=row.session_key == here,
        )
        for row in rows.defer("session_data")
    ]
    return sorted(found, key=lambda one: not one.here)
