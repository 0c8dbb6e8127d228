"""Going on with another lot at the bench."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from tests.pages import Visitor, text
from tests.workbench import assert_everything_holds

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(bench):
    bench.bottle("linalool@10%/ethanol 50g")
    bench.bottle("ethanol 500g")
    planned = bench.plan(bench.formula("accord", "linalool@10% 3", "ethanol 5"), "8")
    bench.reserve(planned)
    return planned


def page_of(batch):
    return f"/batches/{batch.number}/bench/lines/1/other-lot/"


def test_the_rest_of_a_line_is_poured_from_another_lot_fitted_to_its_strength(owner, bench, batch):
    other = bench.bottle("linalool@20%/ethanol 50g")
    bench.weigh(batch, 1, "1")
    visitor = Visitor(owner)
    assert "Go on with another lot" in visitor.text(f"/batches/{batch.number}/bench/")
    assert other.number in visitor.text(page_of(batch))
    assert f"goes on with lot {other.number}" in visitor.send_and_follow(page_of(batch), lot=other.number)
    line = batch.lines.get(position=1)
    assert (line.lot, line.target) == (other, Decimal(2))
    assert_everything_holds()


def test_an_expired_lot_wants_a_reason(owner, bench, batch):
    past = timezone.now().date() - timedelta(days=1)
    old = bench.bottle("linalool@10%/ethanol 50g", expires_on=past)
    answer = Visitor(owner).send(page_of(batch), lot=old.number)
    assert (answer.status_code, "say why" in text(answer)) == (422, True)
    Visitor(owner).send_and_follow(page_of(batch), lot=old.number, expired_reason="smelt good")
    assert batch.lines.get(position=1).expired_reason == "smelt good"


def test_a_lot_of_something_else_is_no_choice_and_without_any_the_page_says_so(owner, bench, batch, reader):
    ethanol = batch.lines.get(position=2).lot
    assert "No other lot of linalool" in Visitor(owner).text(page_of(batch))
    assert Visitor(owner).send(page_of(batch), lot=ethanol.number).status_code == 422
    assert Visitor(owner).get(page_of(batch).replace("/1/", "/9/")).status_code == 404
    assert Visitor(reader).get(page_of(batch)).status_code == 403
