"""How much of the possible is tried: a share that differs from operation to operation, or all of it.

Every bad value meets every kind of field within one run, but not every field; with STILLROOM_TRY_ALL=1 it does, which
takes a few minutes and is meant for changes of what all operations have in common.
"""

import os
from collections.abc import Iterable
from typing import TypeVar

Item = TypeVar("Item")
TRY_ALL = os.environ.get("STILLROOM_TRY_ALL") == "1"


def share(items: Iterable[Item], place: int, parts: int) -> list[Item]:
    """Every `parts`-th of the items, beginning at `place`, which is the number of the operation."""
    everything = list(items)
    return everything if TRY_ALL else everything[place % parts :: parts]
