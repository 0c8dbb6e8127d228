"""The time of the demo studio: working days counted back from today, and a clock that moves with the work.

Every action is handed the time it would have been done at, so that histories, expiry days and claims come out as if
the studio had been at it for a year.
"""

from datetime import UTC, date, datetime, time, timedelta

MORNING = time(8, 20, tzinfo=UTC)
WORK_OF_TODAY = timedelta(minutes=90)
"""What is done today is over by now: the day of the present begins this long ago."""


class Days:
    """`now` is the simulated time; it never runs backwards and never ahead of `today`, the real one."""

    def __init__(self, today: datetime) -> None:
        self.today = today
        self.now = datetime.min.replace(tzinfo=UTC)

    def begin(self, days_ago: int) -> None:
        """Go to the morning of a day, or stay where the clock is when it is past that already."""
        morning = datetime.combine(self.today.astimezone(UTC).date() - timedelta(days=days_ago), MORNING)
        if days_ago == 0:
            morning = self.today - WORK_OF_TODAY
        self.now = min(max(self.now, morning), self.today)

    def work(self, minutes: float) -> datetime:
        """Let some minutes pass; returns the time then."""
        self.now = min(self.now + timedelta(minutes=minutes), self.today)
        return self.now

    def day_in(self, days: int) -> date:
        """The date so many days after the simulated today."""
        return self.now.date() + timedelta(days=days)
