"""Proving the chain of seals: every tampering is found, at its place, and nothing else."""

from datetime import timedelta

import pytest

from studio.actions.records import seal_record
from studio.kernel.seals import canonical, seal
from studio.models import SealedRecord
from studio.queries.chain import broken_links
from tests.conftest import NOW
from tests.studio.tampering import without_triggers

pytestmark = pytest.mark.django_db


@pytest.fixture
def chain(maker):
    records = [
        seal_record(by=maker, at=NOW, subject="batch", name=f"B{n}", record={"n": str(n)})
        for n in range(1, 6)
    ]
    return [*records, seal_record(by=maker, at=NOW, subject="batch", name="B2", record={}, amends=records[1])]


def tampered(record, **columns):
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.filter(pk=record.pk).update(**columns)
    return [(link.sequence, link.sentence) for link in broken_links(record.studio)]


def test_an_untouched_chain_holds(chain, maker):
    assert list(broken_links(maker.studio)) == []


def test_a_studio_without_records_holds(maker):
    assert list(broken_links(maker.studio)) == []


@pytest.mark.parametrize("place", range(6))
def test_a_changed_text_is_found_at_its_place_and_only_there(chain, place):
    found = tampered(chain[place], text=chain[place].text.replace("B", "C"))
    assert found == [(place + 1, f"The text of record {place + 1} is not the one that was sealed.")]


@pytest.mark.parametrize(
    "columns",
    [
        {"name": "other"},
        {"subject": "lot"},
        {"sealed_at": NOW + timedelta(seconds=1)},
        {"amends": None},
    ],
)
def test_a_changed_column_is_found(chain, columns):
    found = tampered(chain[5], **columns)
    assert found == [(6, "The columns of record 6 differ from its sealed text.")]


def test_a_record_put_under_another_member_is_found(chain, owner):
    assert tampered(chain[2], by=owner) == [(3, "The columns of record 3 differ from its sealed text.")]


def test_a_record_put_under_another_studio_leaves_a_gap_here_and_a_stranger_there(chain, stranger):
    found = tampered(chain[2], studio=stranger.studio)
    assert found == [(3, "Record 3 is missing.")]
    elsewhere = [link.sequence for link in broken_links(stranger.studio)]
    assert elsewhere == [1, 3]


def test_a_removed_record_is_missed(chain):
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.filter(pk=chain[3].pk).delete()
    assert [link.sentence for link in broken_links(chain[0].studio)] == ["Record 4 is missing."]


def test_several_removed_records_are_missed_together(chain):
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.filter(pk__in=[chain[2].pk, chain[3].pk]).delete()
    assert [link.sentence for link in broken_links(chain[0].studio)] == ["Record 3 to 4 is missing."]


def test_two_swapped_records_are_found(chain):
    with without_triggers("studio_sealedrecord"):
        for record, sequence in ((chain[1], 90), (chain[2], 2), (chain[1], 3)):
            SealedRecord.objects.filter(pk=record.pk).update(sequence=sequence)
    # The sixth amends the second, which now claims to be another.
    assert {link.sequence for link in broken_links(chain[0].studio)} == {2, 3, 4, 6}


def test_a_record_sealed_anew_breaks_the_one_behind_it(chain):
    text = canonical({"record": {"n": "99"}})
    found = tampered(chain[1], text=text, seal=seal(chain[1].previous, text))
    assert found == [
        (2, "The columns of record 2 differ from its sealed text."),
        (3, "Record 3 does not follow the seal of the one before it."),
    ]


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"record":NaN}', '{"record":{"a":1e400}}', '{"record":[1]}']
)
def test_a_text_that_is_no_record_at_all_is_a_finding_and_no_crash(chain, text):
    found = tampered(chain[5], text=text, seal=seal(chain[5].previous, text))
    assert [sequence for sequence, _ in found] == [6]


def test_proving_takes_the_same_number_of_statements_for_any_chain(chain, maker, django_assert_num_queries):
    with django_assert_num_queries(1):
        list(broken_links(maker.studio))
