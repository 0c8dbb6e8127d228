"""The order of the locks: what is drafted, closed, drawn and held at once never waits in a circle, and nothing slips by."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial

import pytest

from inventory.actions.drawing_off import draw_off
from inventory.actions.holding import hold_with_descendants
from inventory.actions.ledger import LotOnHold
from inventory.models import Lot
from inventory.queries.trace import trace_lot
from tests.client import Api
from tests.engines.races import THREADS
from tests.together import raised, together
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.usefixtures("committed")


def test_drafting_with_a_reservation_closing_and_drawing_at_once_never_wait_in_a_circle(
    bench: Workbench, key_of: Callable[..., str]
) -> None:
    """Drafting takes the row of the batch numbers before lots, closing that of the lot numbers after them."""
    secret = key_of(bench.by)
    lot = bench.bottle("linalool 100g")
    version = bench.formula("neat", "linalool 1")
    weighed = [bench.reserve(bench.plan(version, "2")) for _ in range(3)]
    for batch in weighed:
        bench.weigh_all(batch)
    body = {"formula": "neat", "mass": "3", "reserve": True}
    outcomes = together(
        *[partial(Api(secret).post, "batches/", body)] * 4,
        *[partial(bench.close, batch) for batch in weighed],
        *[partial(draw_off, by=bench.by, now=bench.now, number=lot.number, mass=Decimal(1))] * 3,
        *[partial(bench.plan, version, "1")] * 2,
    )
    assert raised(outcomes) == []
    assert [answer.status_code for answer in outcomes[:4]] == [201] * 4
    lot.refresh_from_db()
    assert (lot.on_hand, lot.reserved) == (100 - 3 * 2 - 3 * 1, 4 * 3)
    assert_everything_holds()


def test_what_is_drawn_off_while_a_lot_and_its_descendants_are_held_is_held_too(bench: Workbench) -> None:
    bottle = bench.bottle("linalool 100g")
    vial = draw_off(by=bench.by, now=bench.now, number=bottle.number, mass=Decimal(50))
    draw = partial(draw_off, by=bench.by, now=bench.now, number=vial.number, mass=Decimal(1))
    hold = partial(
        hold_with_descendants, by=bench.by, now=bench.now, lot_id=bottle.id, why="smells of rubber"
    )
    outcomes = together(*[draw] * (THREADS // 2), hold, *[draw] * (THREADS // 2))
    assert {type(error) for error in raised(outcomes)} <= {LotOnHold}
    family = [traced.lot for traced in trace_lot(lot=bottle, direction="forward").lots]
    assert len(family) == 1 + sum(isinstance(outcome, Lot) for outcome in outcomes)
    assert all(card.held for card in family)
    assert_everything_holds()
