"""Which tests say on one engine all that there is to say.

That a test cannot touch the database is computed and not marked, so that none of the database can be forgotten: it must
lie in a folder of pure tests and ask for nothing that opens the database, not by way of other fixtures either. What
asks for none has none, since access is blocked. Marked by hand (`looks`) are the few long tests of how pages are drawn,
and the tour of the README, which starts a service with a database of its own.
"""

from pathlib import Path

import pytest

TESTS = Path(__file__).parent
OPENS_DATABASE = {
    "db", "transactional_db", "django_db_reset_sequences", "django_db_serialized_rollback", "django_db_setup",
    "committed", "new_studio", "owner", "live_server",
}  # fmt: skip
"""The plugin's `django_db_blocker` is behind every test; whoever unblocks by it needs `django_db_setup` too."""


def is_pure(file: Path) -> bool:
    """Whether a file lies under `checks/`, `architecture/` or the `calc/` of a floor."""
    parts = file.relative_to(TESTS).parts
    return parts[0] in ("checks", "architecture") or (len(parts) > 2 and parts[1] == "calc")


def touches_no_database(item: pytest.Item) -> bool:
    asked = set(getattr(item, "fixturenames", OPENS_DATABASE))
    marked = item.get_closest_marker("django_db")
    return is_pure(item.path) and not marked and not asked & OPENS_DATABASE


def says_the_same_on_any_engine(item: pytest.Item) -> bool:
    return bool(item.get_closest_marker("looks")) or touches_no_database(item)
