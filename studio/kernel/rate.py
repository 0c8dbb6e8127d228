"""Counting how often something happens in a window of time, right also when many count at once.

One counter per window in the cache, raised by the cache itself, so no two requests read the same count. A fixed
window lets through at most twice its limit around its edge, which is good enough to keep a runaway client away. While
the shared cache is away each process counts for itself: the limit is looser then, but nobody is turned away for it.
"""

import logging
from dataclasses import dataclass

from django.core.cache import BaseCache, cache, caches
from redis.exceptions import RedisError

from studio.kernel.resting import Resting

log = logging.getLogger(__name__)
_shared = Resting(seconds=5)


@dataclass(frozen=True, slots=True)
class Count:
    """How often it happened in this window, this time included, and after how many seconds the next begins."""

    times: int
    seconds_left: int


def count(key: str, *, window_seconds: int, now: float) -> Count:
    """Count one more of `key` at `now` (seconds since the epoch)."""
    window, passed = divmod(int(now), window_seconds)
    times = _raised(_name(key, window), timeout=2 * window_seconds)
    return Count(times=times, seconds_left=window_seconds - passed)


def forget(key: str, *, window_seconds: int, now: float) -> None:
    """Begin counting `key` anew, in the shared cache and in this process."""
    name = _name(key, int(now) // window_seconds)
    caches["own"].set(name, 0, timeout=2 * window_seconds)
    if not _shared.rests:
        try:
            cache.set(name, 0, timeout=2 * window_seconds)
        except (RedisError, OSError):
            _shared.rest()


def _name(key: str, window: int) -> str:
    return f"count:{key}:{window}"


def _raised(name: str, *, timeout: int) -> int:
    if not _shared.rests:
        try:
            return _raised_in(cache, name, timeout)
        except (RedisError, OSError) as error:
            _shared.rest()
            log.warning("The cache is away; this process counts for itself (%s).", type(error).__name__)
    return _raised_in(caches["own"], name, timeout)


def _raised_in(counters: BaseCache, name: str, timeout: int) -> int:
    counters.add(name, 0, timeout=timeout)
    try:
        return counters.incr(name)
    except ValueError:
        # The cache dropped the counter between the two steps; this is then the first we know of.
        return 1
