"""Who is signed in where: Django's sessions in a table that also says whose each is, from where, and when it was last seen.

The columns are filled from what the session itself holds whenever it is saved, so listing and ending sessions needs
nothing beside it. `settings.SESSION_ENGINE` names this module.
"""

from datetime import datetime
from hashlib import sha256
from typing import Any, cast

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils import timezone

CAME = "came"
"""Where a session keeps how its person came in: `browser`, `address` and `at`."""


class BrowserSession(AbstractBaseSession):
    """One browser's session; of nobody until somebody signs in."""

    person = models.ForeignKey("studio.Person", on_delete=models.CASCADE, null=True, related_name="sessions")
    browser = models.CharField(max_length=60)
    address = models.CharField(max_length=45)
    began_at = models.DateTimeField()
    seen_at = models.DateTimeField()

    @classmethod
    def get_session_store_class(cls) -> type["SessionStore"]:
        return SessionStore

    @property
    def name(self) -> str:
        """What it is called on pages; its key would let in whoever reads it."""
        return sha256(self.session_key.encode()).hexdigest()[:16]


class SessionStore(DatabaseStore):
    """Keeps sessions in `BrowserSession`; `row` is the one that was read, None for a new session."""

    row: BrowserSession | None = None

    @classmethod
    def get_model_class(cls) -> type[BrowserSession]:
        return BrowserSession

    def _get_session_from_db(self) -> Any:
        self.row = super()._get_session_from_db()  # type: ignore[misc]
        return self.row

    def create_model_instance(self, data: dict[str, Any]) -> BrowserSession:
        row = cast(BrowserSession, super().create_model_instance(data))
        now, came = timezone.now(), data.get(CAME, {})
        row.person_id = data.get(SESSION_KEY)
        row.browser = came.get("browser", "")
        row.address = came.get("address", "")
        row.began_at = datetime.fromisoformat(came["at"]) if came else now
        row.seen_at = now
        return row
