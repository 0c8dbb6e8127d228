"""Random small studios for the remake plan, and an auditor that carries a plan out on paper and misses nothing.

The auditor knows only the request and the plan handed out. It keeps its own books: what every lot, receipt and row gives,
to whom, on which day.
"""

from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import strategies as st

from batches.calc.remake_request import (
    Demand,
    Input,
    Item,
    ItemKey,
    Offer,
    Receipt,
    Recipe,
    RemakeRequest,
    StockLot,
)
from batches.calc.remake_result import PegSort, SourceSort

TODAY = date(2026, 3, 2)
NOTHING = Decimal(0)


def day(number):
    return TODAY + timedelta(number)


def grams(most=40):
    return st.integers(0, most * 4).map(lambda quarters: Decimal(quarters) / 4)


@st.composite
def studios(draw, *, pars=True, sizes=True, deepest=5):
    """A request of up to six items; an item is made of items after it, so there are no cycles here."""
    count = draw(st.integers(1, deepest + 1))
    keys = [ItemKey(number + 1) for number in range(count)]
    life = st.none() | st.integers(0, 40)
    items = []
    for number, key in enumerate(keys):
        low = draw(st.just(NOTHING) | grams(10)) if pars else NOTHING
        full = low + draw(grams(20)) if low else None
        items.append(Item(key, f"item {number}", low, full, draw(life)))
    recipes, offers = [], []
    for number, key in enumerate(keys):
        below = keys[number + 1 :]
        if below and draw(st.booleans()):
            inputs = draw(st.lists(st.sampled_from(below), min_size=1, max_size=3, unique=True))
            smallest = draw(st.sampled_from([NOTHING, Decimal(2), Decimal(5)])) if sizes else NOTHING
            recipes.append(
                Recipe(
                    key,
                    tuple(Input(one, Decimal(draw(st.integers(1, 9)))) for one in inputs),
                    draw(st.integers(0, 2)),
                    draw(st.integers(0, 5)),
                    smallest,
                    draw(st.none() | st.just(Decimal(12))) if sizes else None,
                )
            )
        elif draw(st.integers(0, 3)):
            offers += _offers(draw, key, len(offers))
    return RemakeRequest(
        today=TODAY,
        until=day(draw(st.integers(20, 60))),
        items=tuple(items),
        lots=tuple(_lots(draw, keys)),
        receipts=tuple(_receipts(draw, keys)),
        demands=tuple(_demands(draw, keys)),
        recipes=tuple(recipes),
        offers=tuple(offers),
        making_worth=draw(st.sampled_from([NOTHING, Decimal(20), Decimal(500)])),
    )


def _offers(draw, key, first_id):
    for number in range(draw(st.integers(1, 3))):
        yield Offer(
            first_id + number,
            draw(st.integers(1, 2)),
            "a supplier",
            key,
            draw(st.sampled_from([Decimal(1), Decimal(5), Decimal(20)])),
            Decimal(draw(st.integers(0, 30))),
            draw(st.integers(0, 12)),
            draw(st.integers(1, 3)),
        )


def _lots(draw, keys):
    for number in range(draw(st.integers(0, 8))):
        start, end = draw(st.none() | st.integers(-5, 20)), draw(st.none() | st.integers(-3, 50))
        yield StockLot(
            number,
            f"26-{number}",
            draw(st.sampled_from(keys)),
            draw(grams()),
            None if start is None else day(start),
            None if end is None else day(end),
            draw(st.integers(0, 9)) == 0,
        )


def _receipts(draw, keys):
    for number in range(draw(st.integers(0, 3))):
        end = draw(st.none() | st.integers(10, 50))
        yield Receipt(
            f"r{number}", f"batch {number}", draw(st.sampled_from(keys)), day(draw(st.integers(-2, 20))), draw(grams()),
            None if end is None else day(end),
        )  # fmt: skip


def _demands(draw, keys):
    for number in range(draw(st.integers(0, 8))):
        yield Demand(
            f"d{number}", f"batch {number}", draw(st.sampled_from(keys[:3])), day(draw(st.integers(-3, 20))), draw(grams())
        )  # fmt: skip


def audit(request, plan):
    """Carry the plan out on paper. Raises AssertionError where something is used that is not there, or not good."""
    rows = plan.rows
    lots = {(SourceSort.LOT, str(lot.id)): lot for lot in request.lots}
    receipts = {(SourceSort.RECEIPT, receipt.ref): receipt for receipt in request.receipts}
    given = defaultdict(Decimal)
    for row in rows.values():
        assert sum(peg.mass for peg in row.pegs) == row.mass
        assert row.mass > 0
    for row in plan.makings:
        for one in row.inputs:
            assert sum(source.mass for source in one.sources) == one.mass
            for source in one.sources:
                given[source.sort, source.ref] += source.mass
                _check_good(rows, lots, receipts, source, one.item, row.start_on, row.good_for)
    demanded = defaultdict(Decimal)
    for allotment in plan.allotments:
        if allotment.peg.sort is not PegSort.ROW:
            source = allotment.source
            given[source.sort, source.ref] += source.mass
            demanded[allotment.peg.ref] += source.mass
            _check_good(rows, lots, receipts, source, allotment.item, max(allotment.peg.day, TODAY), None)
    for row in rows.values():
        for peg in row.pegs:
            if peg.sort in (PegSort.BATCH, PegSort.USE):
                demanded[peg.ref] += peg.mass
    for (sort, ref), mass in given.items():
        there = rows[ref].mass if sort is SourceSort.ROW else (lots | receipts)[sort, ref].mass
        assert mass <= there, f"{ref} gives {mass} of {there}"
    lacking = defaultdict(Decimal)
    for shortage in plan.shortages:
        for peg in shortage.pegs:
            if peg.sort is not PegSort.PAR:
                lacking[peg.ref] += peg.mass
    for demand in request.demands:
        assert demanded[demand.ref] + lacking[demand.ref] == demand.mass
    _check_row_pegs(plan)
    return given


def _check_row_pegs(plan):
    """What rows say they are for, and what they say they take, is the same."""
    pegged, taken = defaultdict(Decimal), defaultdict(Decimal)
    for row in plan.rows.values():
        for peg in row.pegs:
            if peg.sort is PegSort.ROW:
                pegged[row.key, peg.ref] += peg.mass
    for row in plan.makings:
        for one in row.inputs:
            for source in one.sources:
                if source.sort is SourceSort.ROW:
                    taken[source.ref, row.key] += source.mass
    assert pegged == taken


def _check_good(rows, lots, receipts, source, item, on, until):
    """The source is of the item, there by `on` (a late demand waits for it) and good until `until`."""
    if source.sort is SourceSort.ROW:
        row = rows[source.ref]
        start = row.arrives_on if source.ref.startswith("buy") else row.usable_on
        end, of = row.expires_on, row.item
    elif source.sort is SourceSort.LOT:
        lot = lots[source.sort, source.ref]
        assert not lot.held
        start, end, of = lot.usable_from, lot.expires_on, lot.item
    else:
        receipt = receipts[source.sort, source.ref]
        start, end, of = receipt.day, receipt.expires_on, receipt.item
    assert of == item
    if until is not None:
        assert start is None or start <= on
        assert end is None or end >= until >= on
    else:
        assert end is None or end >= max(on, start or on)
