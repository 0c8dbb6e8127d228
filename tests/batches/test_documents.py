"""Papers are made once per content, taken up again when their maker dies, and let go of when their days are over."""

import hashlib
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from batches.actions.documents import (
    HOLD,
    MOST_ATTEMPTS,
    ask_for,
    keep_result,
    note_failure,
    remove_old_documents,
    take_up,
)
from batches.calc.label_layout import LabelLayout, LabelsDoNotFit
from batches.jobs import make_document, make_documents_left_undone
from batches.models import Document, DocumentState
from batches.queries.documents import DocumentNotMade, DocumentRemoved, left_undone, made_document
from batches.queries.wanted_papers import wanted_count_list, wanted_labels, wanted_recall, wanted_ticket
from inventory.actions.places import add_shelf
from studio.actions.studios import choose_figures
from studio.kernel.errors import Invalid
from studio.models import HistoryEntry
from tests.conftest import NOW
from tests.papers import words


@pytest.fixture
def batch(bench):
    for text in ("linalool 50g", "ethanol 50g"):
        bench.bottle(text)
    return bench.reserve(bench.plan(bench.formula("hedge", "linalool 1", "ethanol 9"), "10"))


def ticket(batch, by, *, again=False, now=NOW):
    return ask_for(by=by, now=now, wanted=wanted_ticket(studio=by.studio, number=batch.number), again=again)


def test_a_document_is_made_with_its_digest(batch, owner):
    document = ticket(batch, owner)
    assert document.state == DocumentState.WAITING
    assert make_document(document.pk)
    made = made_document(studio=owner.studio, document_id=document.pk)
    data = bytes(made.result)
    assert (made.sha256, made.size) == (hashlib.sha256(data).hexdigest(), len(data))
    assert made.progress == 100
    assert batch.number in words(data)
    assert made.file_name == f"ticket-{batch.number}-copy-1.pdf"


def test_the_same_content_is_made_once(batch, owner, maker):
    first = ticket(batch, owner)
    make_document(first.pk)
    assert ticket(batch, maker, now=NOW + timedelta(days=1)).pk == first.pk
    assert not make_document(first.pk)
    assert Document.objects.of(owner.studio).count() == 1


def test_another_copy_is_numbered_and_other_bytes_while_the_first_stays_as_it_was(batch, owner):
    first, second = ticket(batch, owner), ticket(batch, owner, again=True)
    for one in (first, second):
        make_document(one.pk)
    assert (first.copy, second.copy) == (1, 2)
    made = [bytes(made_document(studio=owner.studio, document_id=one.pk).result) for one in (first, second)]
    assert "copy 1" in words(made[0])
    assert "copy 2" in words(made[1])
    assert made[0] != made[1]
    assert ticket(batch, owner).pk == second.pk


def test_a_ticket_of_what_has_changed_is_the_next_copy(batch, bench, owner):
    first = ticket(batch, owner)
    bench.weigh(batch, 1, "1.001")
    second = ticket(batch, owner)
    assert (second.pk == first.pk, second.copy) == (False, 2)


def test_who_asked_for_which_copy_stands_in_the_history(batch, owner):
    ticket(batch, owner)
    ticket(batch, owner, again=True)
    entries = HistoryEntry.objects.of(owner.studio).filter(verb="ticket asked for", name=batch.number)
    assert [one.changes["copy"][1] for one in entries.order_by("id")] == [1, 2]


def test_a_document_says_what_was_so_when_it_was_asked_for(batch, bench, owner):
    document = ticket(batch, owner)
    bench.weigh(batch, 1, "1.001")
    make_document(document.pk)
    assert "1.001 g" not in words(bytes(made_document(studio=owner.studio, document_id=document.pk).result))


def test_every_kind_is_made(batch, bench, owner):
    studio = owner.studio
    shelf = add_shelf(by=owner, now=NOW, name="cold")
    lot = bench.bottle("vanillin 5g", shelf=shelf)
    wanted = [
        wanted_labels(studio=studio, numbers=[lot.number], layout=LabelLayout()),
        wanted_recall(studio=studio, number=lot.number),
        wanted_count_list(studio=studio, shelf_id=shelf.pk),
    ]
    for one in wanted:
        document = ask_for(by=owner, now=NOW, wanted=one)
        assert make_document(document.pk)
        assert lot.number in words(bytes(made_document(studio=studio, document_id=document.pk).result))


def test_labels_that_do_not_fit_are_refused_before_anything_is_written(bench, owner):
    lot = bench.bottle("vanillin 5g")
    with pytest.raises(LabelsDoNotFit):
        wanted_labels(studio=owner.studio, numbers=[lot.number], layout=LabelLayout(width_mm=Decimal(5)))


def test_what_is_in_somebodys_hands_is_not_taken_up_until_they_let_go(batch, owner):
    document = ticket(batch, owner)
    first = take_up(now=NOW, document_id=document.pk)
    assert take_up(now=NOW + HOLD / 2, document_id=document.pk) is None
    assert left_undone(now=NOW + HOLD / 2) == []
    assert left_undone(now=NOW + HOLD) == [document.pk]
    second = take_up(now=NOW + HOLD, document_id=document.pk)
    assert (first.attempts, second.attempts) == (1, 2)
    # The first was only slow: what it brings is not taken any more.
    assert not keep_result(now=NOW + HOLD, document=first, data=b"late")
    assert keep_result(now=NOW + HOLD, document=second, data=b"in time")


def test_a_document_whose_maker_died_is_made_by_the_sweep(
    batch, owner, settings, django_capture_on_commit_callbacks
):
    document = ticket(batch, owner)
    take_up(now=timezone.now() - 2 * HOLD, document_id=document.pk)
    settings.JOBS = "at once"
    with django_capture_on_commit_callbacks(execute=True):
        assert make_documents_left_undone() == 1
    assert made_document(studio=owner.studio, document_id=document.pk).attempts == 2


def test_a_document_that_cannot_be_made_rests_and_is_given_up_after_some_attempts(batch, owner):
    document = ticket(batch, owner)
    Document.objects.filter(pk=document.pk).update(content='{"record": {}}')
    later = NOW
    for _ in range(MOST_ATTEMPTS):
        taken = take_up(now=later, document_id=document.pk)
        note_failure(now=later, document=taken)
        assert take_up(now=later, document_id=document.pk) is None
        later += timedelta(minutes=5)
    with pytest.raises(DocumentNotMade, match="could not be made"):
        made_document(studio=owner.studio, document_id=document.pk)
    # Asked for once more, it is tried once more, from sound content.
    assert ticket(batch, owner).pk == document.pk
    assert make_document(document.pk)


def test_a_failing_print_is_noted_and_breaks_nothing(batch, owner):
    document = ticket(batch, owner)
    Document.objects.filter(pk=document.pk).update(content='{"record": {}}')
    assert not make_document(document.pk)
    document.refresh_from_db()
    assert (document.state, document.attempts) == (DocumentState.WAITING, 1)


def test_a_worker_that_always_dies_in_the_middle_is_not_tried_for_ever(batch, owner):
    document = ticket(batch, owner)
    later = NOW
    for _ in range(MOST_ATTEMPTS):
        assert take_up(now=later, document_id=document.pk)
        later += HOLD
    assert take_up(now=later, document_id=document.pk) is None
    document.refresh_from_db()
    assert document.state == DocumentState.FAILED


def test_old_documents_go_and_their_trace_stays(batch, owner):
    document = ticket(batch, owner, now=NOW - timedelta(days=91))
    keep_result(now=NOW - timedelta(days=91), document=take_up(now=NOW, document_id=document.pk), data=b"x")
    young = ticket(batch, owner, again=True, now=NOW - timedelta(days=5))
    keep_result(now=NOW - timedelta(days=5), document=take_up(now=NOW, document_id=young.pk), data=b"y")
    assert remove_old_documents(now=NOW, studio=owner.studio) == 1
    document.refresh_from_db()
    assert (document.state, document.result, document.content) == (DocumentState.REMOVED, None, "")
    assert document.sha256 == hashlib.sha256(b"x").hexdigest()
    with pytest.raises(DocumentRemoved):
        made_document(studio=owner.studio, document_id=document.pk)
    assert made_document(studio=owner.studio, document_id=young.pk).copy == 2


def test_a_removed_document_is_made_anew_when_it_is_asked_for(bench, owner):
    lot = bench.bottle("vanillin 5g")
    wanted = wanted_labels(studio=owner.studio, numbers=[lot.number], layout=LabelLayout())
    document = ask_for(by=owner, now=NOW, wanted=wanted)
    make_document(document.pk)
    before = made_document(studio=owner.studio, document_id=document.pk).sha256
    remove_old_documents(now=timezone.now() + timedelta(days=100), studio=owner.studio)
    assert ask_for(by=owner, now=timezone.now(), wanted=wanted).pk == document.pk
    make_document(document.pk)
    assert made_document(studio=owner.studio, document_id=document.pk).sha256 == before


def test_a_studio_chooses_for_how_long_papers_are_kept(owner):
    studio = choose_figures(by=owner, at=NOW, changes={"document_days": 7}, expected=None)
    assert studio.document_days == 7
    with pytest.raises(Invalid):
        choose_figures(by=owner, at=NOW, changes={"document_days": 0}, expected=None)
