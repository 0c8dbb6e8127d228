"""Leaving with everything and moving in elsewhere; the bundle that verifies without the service."""

import csv
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.db.models import Model
from django.test import Client

from inventory.models import Lot, Movement
from studio.actions.keys import issue_key
from studio.actions.moving_in import (
    NotEmpty,
    NotEqual,
    OtherEdition,
    UnreadableExport,
    move_in,
)
from studio.actions.studios import found_studio
from studio.actions.webhooks import add_webhook
from studio.kernel.secrets import digest
from studio.models import Checkpoint, Person, SealedRecord, Studio
from studio.models.whole_studio import LEFT_OUT, belongings, digest_of_table, own_models
from studio.queries.bundle import write_bundle
from studio.queries.leaving_with import write_everything
from studio.queries.members import active_membership
from tests.batches.kept import kept, undone
from tests.batches.signed import amend, sign
from tests.batches.test_append_only import everything_recorded
from tests.conftest import NOW, PASSWORD
from tests.studio.checkpointing import checkpoint
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench, assert_everything_holds


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[Workbench]:
    def make() -> Workbench:
        found_studio(name="Other", owner_name="Cy", email="cy@left.example.org", password=PASSWORD, at=NOW)
        bench = everything_recorded()
        batch = bench.plan(bench.formula("=formula", "linalool 1"), "1")
        bench.reserve(batch)
        bench.weigh_all(batch)
        bench.close(batch)
        sign(bench, batch, "weighed")
        amend(bench, batch, "misread", **{"/title": "“né” =1+1"})
        return bench

    yield from kept(make, django_db_blocker)


@pytest.fixture(autouse=True)
def bench(made: Workbench, django_db_blocker: Any) -> Iterator[Workbench]:
    with undone(django_db_blocker):
        checkpoint(made.by.studio, made.now)
        yield made


@pytest.fixture
def export(bench: Workbench) -> io.BytesIO:
    file = io.BytesIO()
    write_everything(studio=bench.by.studio, at=bench.now, into=file)
    return file


def changed(export: io.BytesIO, name: str, change: Callable[[bytes], bytes]) -> io.BytesIO:
    """The export with one of its files changed."""
    other = io.BytesIO()
    with zipfile.ZipFile(export) as old, zipfile.ZipFile(other, "w") as new:
        for member in old.namelist():
            new.writestr(member, change(old.read(member)) if member == name else old.read(member))
    return other


def empty_installation() -> None:
    """Nothing is left in any table of ours, as in a new database; to be rolled back."""
    for model in reversed([*(one.model for one in belongings()), *LEFT_OUT]):
        with without_triggers(model._meta.db_table):
            model._base_manager.all()._raw_delete(using="default")
    for model in LEFT_OUT:
        assert not model._base_manager.exists()


# What belongs to a studio


@pytest.mark.parametrize("model", own_models(), ids=lambda model: model._meta.label)
def test_every_model_is_exported_or_left_out_for_a_reason(model: type[Model]) -> None:
    exported = {one.model for one in belongings()}
    assert (model in exported) != (model in LEFT_OUT)


def test_no_column_holds_a_file_that_an_export_would_forget() -> None:
    files = [
        field
        for one in belongings()
        for field in one.model._meta.concrete_fields
        if field.get_internal_type() in ("FileField", "ImageField", "FilePathField")
    ]
    assert files == []


def test_what_is_referred_to_comes_before_what_refers_to_it() -> None:
    order = [one.name for one in belongings()]
    assert order.index("studio.studio") < order.index("studio.member") < order.index("studio.sealedrecord")


# Moving


def test_a_studio_that_moved_is_equal_in_every_table_and_proves_itself(
    bench: Workbench, export: io.BytesIO
) -> None:
    studio = bench.by.studio
    before = {one.name: digest_of_table(studio, one) for one in belongings()}
    assert all(count for name, (count, _) in before.items() if name in ("inventory.lot", "studio.signature"))
    empty_installation()
    here = move_in(file=export)
    assert {one.name: digest_of_table(here, one) for one in belongings()} == before
    assert Studio.objects.count() == 1
    assert_everything_holds()


def test_no_secret_leaves_with_an_export(bench: Workbench) -> None:
    owner = bench.by
    webhook, secret = add_webhook(by=owner, at=NOW, url="https://hooks.example.org/stillroom")
    _, key = issue_key(by=owner, name="test", scope="write", at=NOW)
    browser = Client()
    browser.force_login(owner.person)
    file = io.BytesIO()
    write_everything(studio=owner.studio, at=NOW, into=file)
    with zipfile.ZipFile(file) as everything:
        told = b"".join(everything.read(name) for name in everything.namelist()).decode("utf-8", "replace")
    assert webhook.url in told
    for hidden in (secret, key, digest(key), browser.session.session_key, owner.person.password):
        assert hidden not in told


def test_what_is_written_after_the_move_gets_keys_and_places_of_its_own(
    bench: Workbench, export: io.BytesIO
) -> None:
    records = SealedRecord.objects.of(bench.by.studio).count()
    empty_installation()
    studio = move_in(file=export)
    owner = active_membership(person=Person.objects.get(name="Ada"))
    assert owner is not None
    there = Workbench(owner, bench.now)
    there.materials = bench.materials
    there.bottle("linalool 10g")
    batch = there.plan(there.formula("after", "linalool 1"), "1")
    there.reserve(batch)
    there.weigh_all(batch)
    there.close(batch)
    assert SealedRecord.objects.of(studio).order_by("sequence").last().sequence == records + 1
    checkpoint(studio, there.now)
    assert_everything_holds()


def test_passwords_and_keys_stay_behind(bench: Workbench, export: io.BytesIO) -> None:
    with zipfile.ZipFile(export) as files:
        told = b"".join(files.read(name) for name in files.namelist() if name.startswith("tables/"))
    assert bench.by.person.password.encode() not in told
    empty_installation()
    move_in(file=export)
    assert not Person.objects.get(name="Ada").has_usable_password()


def test_nothing_of_another_studio_leaves(bench: Workbench, export: io.BytesIO) -> None:
    with zipfile.ZipFile(export) as files:
        told = b"".join(files.read(name) for name in files.namelist())
    assert b"cy@left.example.org" not in told
    assert b"recorded@example.org" in told


def test_an_installation_with_somebody_in_it_takes_no_studio(export: io.BytesIO) -> None:
    with pytest.raises(NotEmpty):
        move_in(file=export)


def test_an_export_of_another_edition_is_refused(export: io.BytesIO) -> None:
    empty_installation()
    other = changed(export, "manifest.json", lambda data: data.replace(b"studio.0", b"studio.9"))
    with pytest.raises(OtherEdition):
        move_in(file=other)


def test_an_export_that_was_changed_on_the_way_is_refused_and_nothing_is_kept(export: io.BytesIO) -> None:
    empty_installation()
    other = changed(
        export, "tables/inventory.lot.jsonl", lambda data: data.replace(b"linalool", b"lemonool", 1)
    )
    with pytest.raises(NotEqual):
        move_in(file=other)
    assert not Studio.objects.exists()


@pytest.mark.parametrize("data", [b"", b"no zip", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_export_is_refused(data: bytes) -> None:
    empty_installation()
    with pytest.raises(UnreadableExport):
        move_in(file=io.BytesIO(data))


def test_the_sheets_say_what_the_lines_say_and_start_no_formula(export: io.BytesIO) -> None:
    with zipfile.ZipFile(export) as files:
        rows = list(csv.reader(io.StringIO(files.read("tables/batches.formula.csv").decode("utf-8-sig"))))
        lines = files.read("tables/batches.formula.jsonl").decode().splitlines()
    assert len(rows) == len(lines) + 1
    assert "'=formula" in rows[-1]
    assert json.loads(lines[-1])["code"] == "=formula"


# The bundle


@pytest.fixture
def bundle(bench: Workbench, tmp_path: Path) -> Path:
    file = tmp_path / "bundle.zip"
    with file.open("wb") as into:
        write_bundle(bench.by.studio, into)
    return file


def verified(bundle: Path, *arguments: str) -> tuple[int, str]:
    """What the script in the bundle says, run by a bare Python that sees nothing of the service."""
    with zipfile.ZipFile(bundle) as files:
        script = Path(files.extract("verify_bundle.py", bundle.parent))
    done = subprocess.run(
        [sys.executable, "-I", "-S", script, bundle, *arguments],
        capture_output=True,
        text=True,
        cwd=bundle.parent,
        check=False,
    )
    assert not done.stderr, done.stderr
    return done.returncode, done.stdout


def rewritten(bundle: Path, name: str, change: Callable[[bytes], bytes]) -> Path:
    other = bundle.with_name("other.zip")
    other.write_bytes(changed(io.BytesIO(bundle.read_bytes()), name, change).getvalue())
    return other


def test_a_bundle_verifies_by_the_standard_library_alone(bench: Workbench, bundle: Path) -> None:
    newest = Checkpoint.objects.of(bench.by.studio).order_by("number").last()
    assert newest is not None
    keys = [f"--key={one.key}" for one in Checkpoint.objects.of(bench.by.studio)]
    status, said = verified(bundle, "--checkpoint", newest.code, *keys)
    assert status == 0, said
    count = SealedRecord.objects.of(bench.by.studio).count()
    assert said.startswith(f"Everything holds ({count} records, signed with ")


def test_a_bundle_that_is_unpacked_verifies_too(bundle: Path) -> None:
    folder = bundle.parent / "unpacked"
    with zipfile.ZipFile(bundle) as files:
        files.extractall(folder)
    done = subprocess.run([sys.executable, "-I", "-S", "verify_bundle.py", "."], cwd=folder, check=False)
    assert done.returncode == 0


def test_an_export_is_a_bundle_too(export: io.BytesIO, tmp_path: Path) -> None:
    file = tmp_path / "export.zip"
    file.write_bytes(export.getvalue())
    assert verified(file)[0] == 0


def without_line(place: int) -> Callable[[bytes], bytes]:
    def change(data: bytes) -> bytes:
        lines = data.splitlines(keepends=True)
        del lines[place]
        return b"".join(lines)

    return change


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        (
            "records.jsonl",
            lambda data: data.replace(b"linalool", b"lemonool", 1),
            "is not the one that was sealed",
        ),
        ("records.jsonl", without_line(0), "record 1 is missing"),
        ("records.jsonl", without_line(-1), "is gone: it was there when checkpoint"),
        ("records.jsonl", lambda data: b"", "is gone: it was there when checkpoint"),
        ("records.jsonl", lambda data: data[:-9], "the bundle cannot be read"),
        ("checkpoints.jsonl", without_line(0), "checkpoint 1 is missing"),
        (
            "checkpoints.jsonl",
            lambda data: data.replace(b"Recorded", b"Renamed!", 1),
            "is not as it was signed",
        ),
        (
            "rows/000001-inventory_movement.jsonl",
            lambda data: data.replace(b"received", b"discard!", 1),
            "row 1 of those up to id",
        ),
        ("rows/000001-studio_historyentry.jsonl", without_line(-1), "of studio_historyentry is not as"),
        ("rows/000001-studio_historyentry.jsonl", lambda data: data + b"[]\n", "there are more rows"),
    ],
)
def test_a_bundle_that_was_changed_is_found_out(
    bundle: Path, name: str, change: Callable[[bytes], bytes], said: str
) -> None:
    status, told = verified(rewritten(bundle, name, change))
    assert status == 1
    assert said in told


def test_a_bundle_of_other_records_does_not_have_the_code_one_was_given(bundle: Path) -> None:
    status, told = verified(bundle, "--checkpoint", "1-AAAA-BBBB-CCCC-DDDD")
    assert status == 1
    assert "checkpoint 1-AAAA-BBBB-CCCC-DDDD is not in the bundle" in told


def test_a_bundle_signed_with_another_key_than_one_knows_is_found_out(bundle: Path) -> None:
    status, told = verified(bundle, "--key", "QUFB")
    assert status == 1
    assert "signed with another key" in told


def test_masses_go_along_exactly(bench: Workbench, export: io.BytesIO) -> None:
    with zipfile.ZipFile(export) as files:
        rows = [json.loads(line) for line in files.read("tables/inventory.movement.jsonl").splitlines()]
    told = {row["id"]: row["mass"] for row in rows}
    kept_masses = dict(Movement.objects.of(bench.by.studio).values_list("id", "mass"))
    assert {key: Decimal(mass) for key, mass in told.items()} == kept_masses
    assert all(isinstance(mass, str) for mass in told.values())
    assert Lot.objects.of(bench.by.studio).count() == connection_rows("inventory_lot", bench.by.studio.pk)


def connection_rows(table: str, studio: int) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table} WHERE studio_id = %s", [studio])
        count: int = cursor.fetchone()[0]
    return count
