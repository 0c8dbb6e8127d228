"""What holds of every remake plan, on random small studios."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from random import Random

from hypothesis import HealthCheck, given, settings

from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import Receipt
from batches.calc.remake_result import PegSort, SourceSort
from tests.batches.calc.remake_studios import TODAY, audit, studios

careful = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@careful
@given(studios())
def test_carried_out_on_paper_the_plan_uses_only_what_is_there_and_good(request_):
    audit(request_, plan_remakes(request_))


@careful
@given(studios())
def test_once_all_rows_are_accepted_nothing_is_left_to_plan(request_):
    plan = plan_remakes(request_)
    given_away = audit(request_, plan)
    carried_out = replace(
        request_,
        demands=(),
        lots=tuple(
            replace(lot, mass=lot.mass - given_away[SourceSort.LOT, str(lot.id)]) for lot in request_.lots
        ),
        receipts=(
            *(
                replace(one, mass=one.mass - given_away[SourceSort.RECEIPT, one.ref])
                for one in request_.receipts
            ),
            *(_left_of(row) for row in plan.rows.values()),
        ),
    )
    again = plan_remakes(
        replace(carried_out, items=tuple(replace(item, low=Decimal(0), full=None) for item in request_.items))
    )
    assert not again.rows
    assert not again.late


def _left_of(row):
    day = row.usable_on if row.key.startswith("make") else row.arrives_on
    spare = sum((peg.mass for peg in row.pegs if peg.sort in (PegSort.SPARE, PegSort.PAR)), Decimal(0))
    return Receipt(row.key, row.key, row.item, day, spare, row.expires_on)


@careful
@given(studios(sizes=False))
def test_nothing_is_made_that_nothing_needs(request_):
    """Every row serves a demand or a par in the end; where nothing bounds its size from below, wholly."""
    plan = plan_remakes(request_)
    for key, row in plan.rows.items():
        assert plan.behind(key) or any(peg.sort is PegSort.ROW for peg in row.pegs)
        assert any(peg.sort is not PegSort.SPARE for peg in plan.behind(key))
    for row in plan.makings:
        assert not any(peg.sort is PegSort.SPARE for peg in row.pegs)


@careful
@given(studios())
def test_every_day_fits_the_lead_times_and_none_lies_in_the_past(request_):
    plan = plan_remakes(request_)
    leads = {recipe.item: recipe.lead_days for recipe in request_.recipes}
    for row in plan.makings:
        assert row.start_on >= TODAY
        assert row.usable_on - row.start_on == timedelta(leads[row.item])
        assert row.late == (row.usable_on > row.needed_on)
    for row in plan.purchases:
        assert row.order_on >= TODAY
        assert row.late == (row.arrives_on > row.needed_on)


@careful
@given(studios())
def test_the_same_request_in_another_order_gives_the_same_plan(request_):
    shuffled = {}
    for name in ("items", "lots", "receipts", "offers", "recipes"):
        several = list(getattr(request_, name))
        Random(3).shuffle(several)
        shuffled[name] = tuple(several)
    assert plan_remakes(request_) == plan_remakes(request_)
    assert plan_remakes(replace(request_, **shuffled)) == plan_remakes(request_)


@careful
@given(studios())
def test_every_sentence_can_be_read(request_):
    plan = plan_remakes(request_)
    for row in plan.rows.values():
        assert all(sentence.endswith(".") for sentence in row.sentences)
    for one in (*plan.shortages, *plan.late, *plan.expiries):
        assert one.sentence.endswith(".")
