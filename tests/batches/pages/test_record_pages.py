"""Signing and amending on the pages: the password again, once, and a record that tells of it."""

import pytest

from studio.models import HistoryEntry, SealedRecord, Signature
from tests.batches.signed import record_of
from tests.conftest import PASSWORD
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def closed(bench):
    bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1")
    bench.reserve(batch)
    bench.weigh_all(batch)
    bench.close(batch)
    return batch


def test_a_record_is_signed_with_the_password_again(bench, closed):
    visitor = Visitor(bench.by)
    page = f"/batches/{closed.number}/sign/"
    seal = record_of(closed).seal
    assert "password" in visitor.text(page)
    said = visitor.send_and_follow(page, seal=seal, meaning="checked", password=PASSWORD)
    assert f"The record of {closed.number} is signed as checked" in said
    assert Signature.objects.get().meaning == "checked"
    assert "checked: I read" not in visitor.text(page)


def test_a_wrong_password_signs_nothing_and_is_noted(bench, closed):
    answer = Visitor(bench.by).send(
        f"/batches/{closed.number}/sign/", seal=record_of(closed).seal, meaning="checked", password="guess"
    )
    assert answer.status_code == 422
    assert "This is not your password" in text(answer)
    assert 'value="guess"' not in answer.content.decode()
    assert not Signature.objects.exists()
    assert HistoryEntry.objects.filter(verb="wrong password", why=f"to sign batch {closed.number}").exists()


def test_a_record_amended_meanwhile_is_not_signed(bench, closed):
    answer = Visitor(bench.by).send(
        f"/batches/{closed.number}/sign/", seal="0" * 64, meaning="checked", password=PASSWORD
    )
    assert answer.status_code == 422
    assert "read it again" in text(answer)


def test_an_amendment_is_sealed_and_told_on_the_page(bench, closed):
    visitor = Visitor(bench.by)
    page = f"/batches/{closed.number}/amend/"
    assert "line 1, supplier lot: nothing" in visitor.text(page)
    said = visitor.send_and_follow(
        page, seal=record_of(closed).seal, where="/lines/0/supplier_lot", says="L-17", why="misread"
    )
    assert "misread" in said
    assert "/lines/0/supplier_lot : nothing → L-17" in said
    assert "as it was before it was amended" in said
    assert SealedRecord.objects.filter(name=closed.number).count() == 2


def test_readers_neither_sign_nor_amend(bench, closed, new_member):
    reader = Visitor(new_member(bench.by, "reader"))
    for what in ("sign", "amend"):
        assert reader.get(f"/batches/{closed.number}/{what}/").status_code == 403
    assert "Sign it" not in reader.text(f"/batches/{closed.number}/")


def test_what_changed_is_part_of_every_page(bench, closed):
    visitor = Visitor(bench.by)
    pages = [
        f"/batches/{closed.number}/",
        f"/lots/{record_of(closed).told()['record']['made']['lot']}/",
        "/formulas/neat/",
        f"/materials/{bench.materials['linalool'].pk}/",
    ]
    for page in pages:
        assert "What changed" in visitor.text(page), page
    assert "closed" in visitor.text(f"/history/changes/?subject=batch&name={closed.number}")
