"""Counting how often something happens in a window of time, right also when many count at once.

One counter per window in the cache, raised by the cache itself, so no two requests read the same count. A fixed
window lets through at most twice its limit around its edge, which is good enough to keep a runaway client away.
"""

from dataclasses import dataclass

from django.core.cache import cache


@dataclass(frozen=True, slots=True)
class Count:
    """How often it happened in this window, this time included, and after how many seconds the next begins."""

    times: int
    seconds_left: int


def count(key: str, *, window_seconds: int, now: float) -> Count:
    """Count one more of `key` at `now` (seconds since the epoch)."""
    window, passed = divmod(int(now), window_seconds)
    name = f"count:{key}:{window}"
    cache.add(name, 0, timeout=2 * window_seconds)
    try:
        times = cache.incr(name)
    except ValueError:
        # The cache dropped the counter between the two steps; this is then the first we know of.
        times = 1
    return Count(times=times, seconds_left=window_seconds - passed)
