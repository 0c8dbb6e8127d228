"""How much of an item stands on the shelf at the end of each day, while later changes are still being found out."""

from heapq import heappop, heappush


class Level:
    """A running level in micrograms. Changes may be noted for any day; it is asked for days that never go back."""

    def __init__(self) -> None:
        self._now = 0
        self.reached = -1
        self._changes: list[tuple[int, int]] = []

    def note(self, day: int, change: int) -> None:
        if day <= self.reached:
            self._now += change
        else:
            heappush(self._changes, (day, change))

    def at(self, day: int) -> int:
        self.reached = max(self.reached, day)
        while self._changes and self._changes[0][0] <= day:
            self._now += heappop(self._changes)[1]
        return self._now
