"""When something happened, as told by a person: in the past or now, never in the future."""

from datetime import datetime, timedelta

from studio.kernel.errors import Invalid

CLOCK_SLACK = timedelta(minutes=2)
"""Two clocks are never quite equal; a client's may run ahead by this much and still mean now."""


class InTheFuture(Invalid):
    """A time that has not come yet was given for something done."""

    code = "in-the-future"
    title = "Not yet"


def happened(at: datetime | None, now: datetime) -> datetime:
    """`at`, or `now` when it was left out; raises `InTheFuture` when it lies ahead."""
    if at is None:
        return now
    if at > now + CLOCK_SLACK:
        raise InTheFuture(f"{at.isoformat()} lies in the future; give the time when it was done.")
    return min(at, now)
