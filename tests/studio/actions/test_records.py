"""Sealing records: one line per studio, whoever seals at once."""

import hashlib
import json
from datetime import timedelta

import pytest

from studio.actions.records import NothingToAmend, seal_record
from studio.models import SealedRecord
from studio.queries.chain import broken_links
from tests.conftest import NOW
from tests.together import raised, together


def sealed(by, name="B26-0001-X", record=None, **kwargs):
    return seal_record(
        by=by, at=NOW, subject="batch", name=name, record=record or {"mass": "2.500000"}, **kwargs
    )


def test_the_first_record_stands_behind_sixty_four_zeros(maker):
    first = sealed(maker)
    assert (first.sequence, first.previous) == (1, "0" * 64)


def test_a_seal_is_the_sha256_of_the_seal_before_and_the_text(maker):
    first, second = sealed(maker), sealed(maker)
    assert (second.sequence, second.previous) == (2, first.seal)
    assert second.seal == hashlib.sha256(f"{first.seal}\n{second.text}".encode()).hexdigest()


def test_what_is_sealed_names_everything_that_stands_beside_the_record(maker):
    first = sealed(maker)
    amendment = sealed(maker, record={"why": "typed 2.5 for 5.2"}, amends=first)
    assert json.loads(amendment.text) == {
        "amends": 1,
        "at": "2026-03-01T09:30:00.000000+00:00",
        "by": maker.pk,
        "name": "B26-0001-X",
        "record": {"why": "typed 2.5 for 5.2"},
        "sequence": 2,
        "studio": maker.studio_id,
        "subject": "batch",
    }


def test_the_text_is_canonical_so_the_order_of_fields_is_nothing(maker):
    one = sealed(maker, record={"a": "1", "b": ["x", 2, None, True]})
    assert '"record":{"a":"1","b":["x",2,null,true]}' in one.text


def test_every_studio_has_a_chain_of_its_own(maker, stranger):
    sealed(maker)
    assert sealed(stranger).sequence == 1


def test_a_record_of_another_studio_cannot_be_amended(maker, stranger):
    with pytest.raises(NothingToAmend):
        sealed(maker, amends=sealed(stranger))


def test_a_float_cannot_be_sealed_unnoticed(maker):
    with pytest.raises(Exception, match="nan"):
        sealed(maker, record={"mass": float("nan")})


def test_records_sealed_at_once_make_one_line(committed, maker):
    outcomes = together(*[lambda: sealed(maker)] * 8)
    assert raised(outcomes) == []
    rows = SealedRecord.objects.filter(studio=maker.studio).order_by("sequence", "id")
    assert [row.sequence for row in rows] == list(range(1, 9))
    assert list(broken_links(maker.studio)) == []


def test_the_moment_of_sealing_survives_the_database(maker):
    at = NOW + timedelta(microseconds=123_456)
    seal_record(by=maker, at=at, subject="batch", name="x", record={"a": "1"})
    assert list(broken_links(maker.studio)) == []
