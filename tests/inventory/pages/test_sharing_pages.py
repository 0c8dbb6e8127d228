"""The page of the team: asking, answering, lending and bringing back as people do it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.actions.asking import ask_keeper
from inventory.actions.placing import change_lot
from inventory.models import LotRequest, Wish
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def visitor(owner):
    return Visitor(owner)


@pytest.fixture
def keeper(maker):
    return Visitor(maker)


@pytest.fixture
def lot(bench, maker):
    return bench.bottle("linalool 10g", keeper=maker, tare=Decimal(20))


def test_asking_and_granting_part(visitor, keeper, lot, maker, owner):
    assert f"Ask {maker}" in visitor.text(f"/lots/{lot.number}/")
    assert "not answered yet" in visitor.send_and_follow(
        f"/lots/{lot.number}/ask/", wish="some", mass="4", word="rose accord"
    )
    page = keeper.text("/team/")
    assert f"{owner} asks for 4.000 g of linalool" in page
    assert "rose accord" in page
    asked = LotRequest.objects.get()
    told = keeper.send_and_follow(
        f"/requests/{asked.pk}/grant/", mass="1.5", answer="that is all I can spare"
    )
    assert "with 1.500 g" in told
    page = visitor.text("/team/")
    assert "You have 1.500 g in lot" in page
    assert "that is all I can spare" in page


def test_declining_and_withdrawing(visitor, keeper, lot):
    visitor.send(f"/lots/{lot.number}/ask/", wish="some", mass="4")
    first = LotRequest.objects.get()
    assert visitor.send(f"/requests/{first.pk}/decline/", answer="no").status_code == 422
    keeper.send(f"/requests/{first.pk}/decline/", answer="the last of it")
    assert "the last of it" in visitor.text("/team/")
    visitor.send(f"/lots/{lot.number}/ask/", wish="some", mass="1")
    second = LotRequest.objects.latest("id")
    key = visitor.key("/team/")
    answer = visitor.client.post(f"/requests/{second.pk}/withdraw/", {"once": key})
    assert "withdrawn" in text(visitor.get(answer["Location"]))


def test_lending_and_bringing_back(visitor, keeper, lot, owner):
    until = (timezone.now() + timedelta(days=2)).date()
    page = keeper.send_and_follow(f"/lots/{lot.number}/lend/", to=owner.pk, until=str(until))
    assert f"With {owner} until" in page
    assert "It is back" in visitor.text("/team/")
    loan = lot.loans.get()
    page = visitor.send_and_follow(f"/loans/{loan.pk}/return/", gross="28", tare="20")
    assert "8.000 g came back of 10.000 g." in page


def test_a_batch_asks_the_keepers_it_depends_on(visitor, keeper, bench, lot, maker):
    change_lot(by=maker, now=bench.now, lot=lot, changes={"ask_above": Decimal(1)})
    batch = bench.plan(bench.formula("neat", "linalool 1"), "5")
    path = f"/batches/{batch.number}/"
    answer = visitor.client.post(f"{path}reserve/", {"once": visitor.key(path)})
    assert answer.status_code == 422
    assert "Ask the keepers" in text(answer)
    answer = visitor.client.post(f"{path}ask-keepers/", {"once": visitor.key(path)})
    assert f"{maker} was asked." in text(visitor.get(answer["Location"]))
    asked = LotRequest.objects.get()
    assert f"Batch {batch.number} may claim" in keeper.send_and_follow(
        f"/requests/{asked.pk}/grant/", mass="5"
    )
    answer = visitor.client.post(f"{path}reserve/", {"once": visitor.key(path)})
    assert answer.status_code == 303


def test_a_reader_sees_the_team_and_asks_nothing(reader, lot):
    visitor = Visitor(reader)
    assert "Who holds what" in visitor.text("/team/")
    assert visitor.get(f"/lots/{lot.number}/ask/").status_code == 403


def test_the_statements_of_the_team_do_not_grow(visitor, bench, maker, owner):
    counts = []
    for many in (1, 6):
        for _ in range(many):
            lot = bench.bottle("linalool 10g", keeper=maker)
            ask_keeper(by=owner, now=bench.now, lot=lot, wish=Wish.SOME, mass=Decimal(1))
        visitor.text("/team/")
        with CaptureQueriesContext(connection) as queries:
            visitor.text("/team/")
        counts.append(len(queries))
    assert counts[0] == counts[1]
