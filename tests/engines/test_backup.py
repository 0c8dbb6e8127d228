"""A backup of the running service, restored elsewhere, is whole and proves itself."""

import json
import os
import stat
import subprocess
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from django.db import connection
from django.utils import timezone

from studio.actions.backing_up import DatabaseInUse, NoBackup, back_up, restore
from studio.kernel.seals import FIRST_SEAL
from studio.models import Member, SealedRecord
from tests.conftest import NOW
from tests.studio.checkpointing import checkpoint
from tests.workbench import Workbench


@pytest.fixture
def worked(committed: None, owner: Member) -> Workbench:
    """A studio with a sealed record under a checkpoint, committed."""
    bench = Workbench(owner, NOW)
    bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1")
    bench.reserve(batch)
    bench.weigh_all(batch)
    bench.close(batch)
    checkpoint(owner.studio, NOW)
    return bench


@pytest.fixture
def elsewhere(committed: None, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of the same engine."""
    if connection.vendor == "sqlite":
        yield f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}"
        return
    name = f"restored_{uuid4().hex[:12]}"
    told = connection.settings_dict
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
    host, port = told["HOST"].replace("/", "%2F"), told["PORT"]
    secret = f":{told['PASSWORD']}" if told["PASSWORD"] else ""
    yield f"postgres://{told['USER']}{secret}@{host}{f':{port}' if port else ''}/{name}"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


def manage(database: str, folder: Path, *command: str) -> tuple[int, str]:
    """A command of the service with another database and another folder for its data."""
    done = subprocess.run(
        [sys.executable, "manage.py", *command],
        env={**os.environ, "DATABASE_URL": database, "STILLROOM_DATA": str(folder), "REDIS_URL": ""},
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def test_what_is_restored_elsewhere_is_whole_and_proves_itself(
    worked: Workbench, elsewhere: str, tmp_path: Path
) -> None:
    file = tmp_path / "backup.tar"
    back_up(at=timezone.now(), to=file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    status, said = manage(elsewhere, tmp_path / "data", "restore", str(file))
    assert status == 0, said
    status, said = manage(elsewhere, tmp_path / "data", "verify")
    assert status == 0, said
    assert "Everything holds" in said
    assert f"{SealedRecord.objects.count()} sealed records" in said
    name = f"studio-{worked.by.studio_id}.jsonl"
    assert (tmp_path / "data" / "checkpoints" / name).exists()
    # Once there is something, only --replace gives it up.
    status, said = manage(elsewhere, tmp_path / "data", "restore", str(file))
    assert status == 1
    assert "There are tables in the database already" in said


def test_the_private_key_is_not_in_a_backup(worked: Workbench, tmp_path: Path) -> None:
    file = tmp_path / "backup.tar"
    key = Path(settings.CHECKPOINTS).parent / "checkpoint-key"
    key.write_text(settings.CHECKPOINT_KEY)
    back_up(at=timezone.now(), to=file)
    assert key.read_bytes() not in file.read_bytes()
    with tarfile.open(file) as backup:
        assert "checkpoints/public-keys" in backup.getnames()


def test_a_backup_is_not_restored_over_what_is_there(worked: Workbench, tmp_path: Path) -> None:
    file = tmp_path / "backup.tar"
    back_up(at=timezone.now(), to=file)
    with pytest.raises(DatabaseInUse):
        restore(at=timezone.now(), file=file)
    assert SealedRecord.objects.filter(studio=worked.by.studio, previous=FIRST_SEAL).exists()


@pytest.mark.parametrize("head", [None, {"form": "backup 1", "engine": "another"}, {"form": "other"}, {}])
def test_what_is_no_backup_for_this_database_is_refused(committed: None, tmp_path: Path, head: Any) -> None:
    file = tmp_path / "backup.tar"
    if head is None:
        file.write_bytes(b"no tar")
    else:
        (tmp_path / "backup.json").write_text(json.dumps(head))
        with tarfile.open(file, "w") as backup:
            backup.add(tmp_path / "backup.json", "backup.json")
    with pytest.raises(NoBackup):
        restore(at=timezone.now(), file=file, replace=True)
