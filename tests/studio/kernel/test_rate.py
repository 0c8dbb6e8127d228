"""Counting within a window of time."""

import sys

import pytest

from studio.kernel.rate import count
from tests.together import together


def times(key, now):
    return count(key, window_seconds=60, now=now).times


def test_counts_go_up_within_a_window_and_start_anew_in_the_next():
    assert [times("a", now) for now in (0, 30, 59.9, 60, 61)] == [1, 2, 3, 1, 2]


def test_every_key_has_a_count_of_its_own():
    assert (times("a", 0), times("b", 0), times("a", 0)) == (1, 1, 2)


def test_the_seconds_to_the_next_window_are_told():
    assert count("a", window_seconds=60, now=119.5).seconds_left == 1
    assert count("a", window_seconds=60, now=120).seconds_left == 60


@pytest.fixture
def hurried():
    """Threads take turns so often that any step between reading and writing is met by another."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    yield
    sys.setswitchinterval(usual)


def test_counting_at_once_reads_no_count_twice(hurried):
    read = together(*[lambda: [times("a", 0) for _ in range(100)]] * 8)
    assert sorted(number for numbers in read for number in numbers) == list(range(1, 801))


def test_while_the_shared_cache_is_away_each_process_counts_for_itself(settings):
    settings.CACHES = {
        **settings.CACHES,
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
        },
    }
    assert [times("a", 0) for _ in range(3)] == [1, 2, 3]
