"""How far tests with a count go: a moderate one each time, all of it with `STILLROOM_LONG=1`."""

import os

LONG = os.environ.get("STILLROOM_LONG") == "1"


def many(usually: int, all_of_it: int) -> int:
    """The count for this run."""
    return all_of_it if LONG else usually
