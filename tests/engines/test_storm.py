"""Clients of mixed work while processes are killed under them: what was acknowledged is there, once, and all of it holds.

STILLROOM_KILLS says how often somebody is killed (3 by default, 300 with STILLROOM_LONG=1).
"""

import os
from pathlib import Path

import pytest

from studio.models import Member
from tests.load.storm import assert_all_is_there_once, storm
from tests.long import many

pytestmark = pytest.mark.usefixtures("committed")
KILLS = int(os.environ.get("STILLROOM_KILLS") or many(3, 300))
AT_MOST_SECONDS = 3600.0


def test_whoever_is_killed_each_acknowledged_write_is_there_once(owner: Member, tmp_path: Path) -> None:
    after = storm(owner, tmp_path, clients=many(4, 12), seconds=AT_MOST_SECONDS, kills=KILLS)
    assert after.killed.total() >= KILLS
    assert after.answers > 0
    assert_all_is_there_once(owner, after)
