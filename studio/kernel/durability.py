"""Whether the database keeps what it has said it keeps: a service of records does not start on one that does not.

PostgreSQL with `fsync` off, or with `synchronous_commit` off, answers before what was done is on the disk; a power cut
then takes back what people were told had happened.
"""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, connections

OFF = {"fsync": ("off",), "synchronous_commit": ("off",), "full_page_writes": ("off",)}


def check_durability(
    app_configs: Any = None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """A system check of the databases: an error for each setting that lets acknowledged work be lost."""
    return [
        Error(
            f"PostgreSQL has {name} off: what it acknowledges may be lost in a power cut.",
            hint=f"Set {name} = on for the server, the database and the role, then start again.",
            obj=alias,
            id="studio.E001",
        )
        for alias in databases or ()
        if connections[alias].vendor == "postgresql"
        for name, forbidden in OFF.items()
        if _setting(alias, name) in forbidden
    ]


def refuse_unsafe_database() -> None:
    """Raise `ImproperlyConfigured` when the database would lose acknowledged work; one that is away is asked later."""
    try:
        found = check_durability(databases=["default"])
    except DatabaseError:
        return
    finally:
        connections["default"].close()
    if found:
        raise ImproperlyConfigured(" ".join(f"{one.msg} {one.hint}" for one in found))


def _setting(alias: str, name: str) -> str:
    with connections[alias].cursor() as cursor:
        cursor.execute("SELECT current_setting(%s)", [name])
        value: str = cursor.fetchone()[0]
    return value
