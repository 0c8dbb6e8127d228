"""What is sealed of a record: the record itself together with everything that stands beside it in its row.

A seal over the record alone would let its name, its time, its member or its place be changed unnoticed. Sealing
and proving both build the envelope here, so they cannot disagree on it.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any


def envelope(
    *,
    studio: int,
    sequence: int,
    subject: str,
    name: str,
    at: datetime,
    by: int,
    amends: int | None,
    record: Mapping[str, Any],
) -> dict[str, Any]:
    """The envelope of `record`: `studio` and `by` are keys of rows, `amends` the sequence of the amended record."""
    return {
        "amends": amends,
        "at": at.astimezone(UTC).isoformat(timespec="microseconds"),
        "by": by,
        "name": name,
        "record": dict(record),
        "sequence": sequence,
        "studio": studio,
        "subject": subject,
    }
