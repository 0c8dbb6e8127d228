"""The row of `manage.py verify`: everything proved from scratch, against the sums and the hashing alone."""

import os
import subprocess
import sys
from hashlib import sha256
from itertools import chain

from django.db import connection

from batches.queries.proof import all_findings
from inventory.models import Movement
from inventory.queries.proof import ledger_findings
from studio.models import SealedRecord
from tests.bench.scene import Scene
from tests.bench.table import Row, in_turn

RUNS = 2
SUMS = (
    "SELECT target_id, SUM(mass) FROM inventory_movement GROUP BY target_id",
    "SELECT source_id, SUM(mass) FROM inventory_movement GROUP BY source_id",
    "SELECT lot_id, SUM(mass) FROM inventory_claim WHERE state = 'open' GROUP BY lot_id",
    "SELECT lot_id, revision, SUM(fraction) FROM inventory_lotcontent GROUP BY lot_id, revision",
    "SELECT batch_id, SUM(mass) FROM batches_weighing WHERE struck_at IS NULL GROUP BY batch_id",
    "SELECT batch, SUM(mass) FROM inventory_movement WHERE batch <> '' GROUP BY batch",
)


def verify(scene: Scene) -> list[Row]:
    """P12. The memory is that of the command's whole process."""

    def ours() -> None:
        findings = list(chain(ledger_findings(), all_findings()))
        assert not findings, f"the filled studio does not hold: {findings[:5]}"

    floors, mine = in_turn(_sums_and_hashes, ours, RUNS)
    what = f"verify, {Movement.objects.count():,} movements"
    return [Row("P12", what, "the sums and the hashing alone", floors, mine, 2, peak_mb=_peak_of_command())]


def _sums_and_hashes() -> None:
    with connection.cursor() as cursor:
        for statement in SUMS:
            cursor.execute(statement)
            cursor.fetchall()
    records = SealedRecord.objects.order_by("sequence").values_list("previous", "text", "seal")
    for previous, text, seal in records.iterator(chunk_size=500):
        assert sha256(f"{previous}\n{text}".encode()).hexdigest() == seal


def _peak_of_command() -> float:
    """MB that the command's process took at most."""
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "tests.bench.settings"}
    command = subprocess.Popen(
        [sys.executable, "manage.py", "verify"], env=environment, stdout=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(command.pid, 0)
    assert status == 0, "manage.py verify found something"
    return usage.ru_maxrss / 1000


ROWS = {"P12": verify}
