"""Checkpoints show what a chain of seals cannot: a cut tail, a chain written anew, a changed row of any kept table."""

import json
import stat
from datetime import timedelta

import pytest

from studio.actions.checkpoints import make_checkpoint, take_outside
from studio.actions.history import record
from studio.actions.records import seal_record
from studio.kernel.checkpoint_files import file_of
from studio.kernel.envelope import envelope
from studio.kernel.seals import FIRST_SEAL, canonical, seal
from studio.kernel.signing_key import known_keys, signed_by
from studio.models import Checkpoint, HistoryEntry, SealedRecord
from studio.queries.chain import broken_links
from studio.queries.checkpoints import (
    broken_checkpoints,
    checkpoint_called,
    latest_checkpoint,
    studios_without_checkpoint,
)
from tests.conftest import NOW
from tests.studio.checkpointing import checkpoint
from tests.studio.tampering import without_triggers

pytestmark = pytest.mark.django_db


def sealed(maker, *names):
    return [seal_record(by=maker, at=NOW, subject="batch", name=name, record={"is": name}) for name in names]


@pytest.fixture
def told(maker):
    """Five records under two checkpoints, and one record that no checkpoint has seen."""
    sealed(maker, "B1", "B2", "B3")
    checkpoint(maker.studio, NOW)
    sealed(maker, "B4", "B5")
    checkpoint(maker.studio, NOW + timedelta(days=1))
    sealed(maker, "B6")
    return maker.studio


def found(studio):
    return [(broken.where, broken.sentence) for broken in broken_checkpoints(studio)]


def write_anew(studio, place):
    """Change a record and recompute every seal from there to the end, as somebody who knows how would."""
    rows = list(SealedRecord.objects.of(studio).order_by("sequence"))
    previous = rows[place - 2].seal if place > 1 else FIRST_SEAL
    with without_triggers("studio_sealedrecord"):
        for row in rows[place - 1 :]:
            says = json.loads(row.text)["record"] | ({"is": "another"} if row.sequence == place else {})
            text = canonical(
                envelope(
                    studio=studio.pk,
                    sequence=row.sequence,
                    subject=row.subject,
                    name=row.name,
                    at=row.sealed_at,
                    by=row.by_id,
                    amends=None,
                    record=says,
                )
            )
            now = seal(previous, text)
            SealedRecord.objects.filter(pk=row.pk).update(text=text, previous=previous, seal=now)
            previous = now


def test_an_untouched_studio_holds(told):
    assert found(told) == []


def test_a_studio_without_a_checkpoint_holds(maker):
    sealed(maker, "B1")
    assert found(maker.studio) == []


def test_nothing_new_needs_no_checkpoint(told):
    assert make_checkpoint(at=NOW, studio=told) is not None
    assert make_checkpoint(at=NOW, studio=told) is None


@pytest.mark.parametrize(("place", "by"), [(1, 1), (3, 1), (4, 2), (5, 2)])
def test_a_chain_that_was_written_anew_holds_in_itself_and_not_by_its_checkpoints(told, place, by):
    write_anew(told, place)
    assert list(broken_links(told)) == []
    assert found(told)[0] == (
        f"record {place}",
        f"was sealed anew: it had another seal when checkpoint {by} was made",
    )


def test_records_cut_off_at_the_end_are_missed(told):
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.of(told).filter(sequence__gte=5).delete()
    assert list(broken_links(told)) == []
    assert found(told) == [("record 5", "is gone: it was there when checkpoint 2 was made")]


def test_checkpoints_cut_off_with_their_records_are_missed_by_the_file_outside(told):
    with without_triggers("studio_checkpoint"):
        Checkpoint.objects.of(told).filter(number=2).delete()
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.of(told).filter(sequence__gte=4).delete()
    [(where, sentence)] = found(told)
    assert where == "checkpoint 2"
    assert "and not in the database" in sentence


def test_every_checkpoint_may_go_and_the_file_still_tells(told):
    with without_triggers("studio_checkpoint"):
        Checkpoint.objects.of(told).delete()
    assert [where for where, _ in found(told)] == ["checkpoint 1", "checkpoint 2"]


def test_a_checkpoint_taken_out_of_the_middle_is_missed(told):
    with without_triggers("studio_checkpoint"):
        Checkpoint.objects.of(told).filter(number=1).delete()
    assert ("checkpoint 1", "is missing in the database") in found(told)


def test_a_checkpoint_that_somebody_wrote_without_the_key_is_found(told):
    row = Checkpoint.objects.of(told).get(number=2)
    text = row.text.replace(row.told()["records"]["seal"], "f" * 64)
    with without_triggers("studio_checkpoint"):
        Checkpoint.objects.filter(pk=row.pk).update(text=text)
    assert found(told)[0] == ("checkpoint 2", "is not as it was signed")


def test_a_checkpoint_signed_with_a_key_of_somebody_elses_is_found(told, settings):
    theirs = "QUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUE="
    place, key = settings.CHECKPOINTS, settings.CHECKPOINT_KEY
    settings.CHECKPOINTS, settings.CHECKPOINT_KEY = place.parent / "elsewhere" / "checkpoints", theirs
    make_checkpoint(at=NOW, studio=told)
    settings.CHECKPOINTS, settings.CHECKPOINT_KEY = place, key
    assert ("checkpoint 3", "is signed with a key that is none of this installation") in found(told)


def test_a_changed_row_of_a_kept_table_is_found_and_named(told, maker):
    entries = [record(by=maker, at=NOW, subject="lot", name=f"{n}", verb="moved") for n in range(250)]
    checkpoint(told, NOW + timedelta(days=2))
    with without_triggers("studio_historyentry"):
        HistoryEntry.objects.filter(pk=entries[170].pk).update(why="never")
    [(where, sentence)] = found(told)
    assert where == f"row {entries[170].pk} of studio_historyentry"
    assert "as many rows" in sentence


def test_a_removed_and_an_inserted_row_are_found(told, maker):
    entries = [record(by=maker, at=NOW, subject="lot", name=f"{n}", verb="moved") for n in range(5)]
    checkpoint(told, NOW + timedelta(days=2))
    with without_triggers("studio_historyentry"):
        HistoryEntry.objects.filter(pk=entries[2].pk).delete()
    [(where, sentence)] = found(told)
    assert where == f"row {entries[3].pk} of studio_historyentry"
    assert "1 fewer" in sentence
    kept = {"studio": told, "at": NOW, "by": maker, "subject": "lot", "verb": "moved"}
    HistoryEntry.objects.create(pk=entries[2].pk, name="2", **kept)
    assert found(told) == []
    HistoryEntry.objects.create(pk=-1, name="before all", **kept)
    [(where, sentence)] = found(told)
    assert where == "row -1 of studio_historyentry"
    assert "1 more" in sentence


def test_the_last_kept_row_may_not_go_either(told, maker):
    last = record(by=maker, at=NOW, subject="lot", name="last", verb="moved")
    checkpoint(told, NOW + timedelta(days=2))
    with without_triggers("studio_historyentry"):
        HistoryEntry.objects.filter(pk=last.pk).delete()
    [(where, _)] = found(told)
    assert where.startswith("the rows after ")


def test_a_file_outside_that_is_no_list_of_checkpoints_is_a_finding(told):
    with file_of(told.pk).open("a", encoding="utf-8") as file:
        file.write("{}\n")
    assert found(told) == [(f"studio-{told.pk}.jsonl", "is not a list of checkpoints as it was written")]


def test_what_the_file_lacks_at_its_end_is_written_later(told):
    file = file_of(told.pk)
    first, _ = file.read_text("utf-8").splitlines()
    file.write_text(first + "\n", "utf-8")
    assert found(told) == []
    assert take_outside(studio=told) == 1
    assert take_outside(studio=told) == 0
    assert len(file.read_text("utf-8").splitlines()) == 2


def test_the_key_is_made_once_and_read_by_its_owner_only(maker, settings):
    settings.CHECKPOINT_KEY = ""
    told = maker.studio
    for name in ("B1", "B2"):
        sealed(maker, name)
        checkpoint(told, NOW)
    file = settings.CHECKPOINTS.parent / "checkpoint-key"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    first, second = Checkpoint.objects.of(told).order_by("number")
    assert first.key == second.key
    assert signed_by(first.text, first.signature, first.key)
    assert not signed_by(first.text + " ", first.signature, first.key)
    assert known_keys() == [first.key]


def test_a_printed_code_names_its_checkpoint(told):
    newest = latest_checkpoint(told)
    assert newest.code.startswith("2-")
    assert len(newest.code) == len("2-AAAA-BBBB-CCCC-DDDD")
    assert checkpoint_called(told, newest.code.lower()) == newest
    for code in ("2", "2-AAAA-BBBB-CCCC-DDDD", "x", "", newest.code.replace("2-", "1-", 1)):
        assert checkpoint_called(told, code) is None


def test_a_studio_is_due_for_a_checkpoint_when_its_last_is_old(told, stranger):
    later = NOW + timedelta(days=1)
    assert list(studios_without_checkpoint(since=later - timedelta(hours=1))) == [stranger.studio]
    assert set(studios_without_checkpoint(since=later)) == {told, stranger.studio}
