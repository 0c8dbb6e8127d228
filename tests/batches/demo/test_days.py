"""The simulated time of the demo studio, at whatever hour it is filled."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from batches.demo.days import Days

START = datetime(2025, 1, 1, tzinfo=UTC)
hours = st.timedeltas(timedelta(0), timedelta(days=1500)).map(lambda past: START + past)
steps = st.lists(st.tuples(st.integers(0, 400), st.floats(0, 90)), max_size=40)


@given(today=hours, steps=steps)
def test_it_never_runs_backwards_and_never_ahead_of_the_real_time(
    today: datetime, steps: list[tuple[int, float]]
) -> None:
    days = Days(today)
    before = days.now
    for days_ago, minutes in sorted(steps, reverse=True):
        days.begin(days_ago)
        assert before <= days.now <= days.work(minutes) <= today
        before = days.now


@given(today=hours, days_ago=st.integers(1, 400))
def test_a_day_begins_in_its_morning(today: datetime, days_ago: int) -> None:
    days = Days(today)
    days.begin(days_ago)
    assert days.now.date() == today.date() - timedelta(days=days_ago)


def test_the_work_of_today_is_already_done_just_after_midnight() -> None:
    today = datetime(2026, 3, 1, 0, 10, tzinfo=UTC)
    days = Days(today)
    days.begin(0)
    assert days.now == datetime(2026, 2, 28, 22, 40, tzinfo=UTC)
    assert days.work(30) < today
