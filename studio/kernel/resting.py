"""Leaving alone for a moment what has just failed, so that a service that is away costs one wait and not one per request."""

import time


class Resting:
    """Something outside that may be away; after a failure it is not asked for `seconds`."""

    def __init__(self, *, seconds: float) -> None:
        self.seconds = seconds
        self._until = 0.0

    @property
    def rests(self) -> bool:
        """Whether it failed so lately that asking again is not worth the wait."""
        return time.monotonic() < self._until

    def rest(self) -> None:
        """Note that it failed now."""
        self._until = time.monotonic() + self.seconds

    def wake(self) -> None:
        """Ask it again at once."""
        self._until = 0.0
