"""The drawing of a trace: where boxes stand, how wide the bands are, and what is folded."""

from decimal import Decimal

from inventory.models.ancestry import LotCard
from inventory.pages.trace_drawing import BOX_HIGH, BOX_WIDE, GAP_DOWN, draw_trace
from inventory.queries.trace import Trace, TracedLot, TracedPour


def card(number, made="10"):
    return LotCard(
        id=hash(number),
        number=number,
        kind="stock",
        title=f"lot {number}",
        strength=None,
        supplier="",
        supplier_lot="",
        made_in="",
        on_hand=Decimal(1),
        made_mass=Decimal(made),
        held=False,
    )


def fan(width, depth=1):
    """A root with `width` lots behind it in each of `depth` generations."""
    lots, pours = [], []
    for generation in range(1, depth + 1):
        for place in range(width):
            lots.append(TracedLot(card(f"{generation}.{place}"), Decimal(place + 1), generation))
            nearer = "root" if generation == 1 else f"{generation - 1}.{place}"
            pours.append(TracedPour(f"{generation}.{place}", nearer, Decimal(place + 1)))
    return Trace(card("root", "100"), "back", lots, pours)


def overlap(one, other):
    return abs(one.x - other.x) < BOX_WIDE and abs(one.y - other.y) < BOX_HIGH + GAP_DOWN


def test_no_two_boxes_overlap_and_all_lie_within():
    drawing = draw_trace(fan(7, depth=3))
    boxes = drawing.boxes
    assert not any(overlap(a, b) for place, a in enumerate(boxes) for b in boxes[:place])
    assert all(box.x + BOX_WIDE <= drawing.wide and box.y + BOX_HIGH <= drawing.high for box in boxes)


def test_tracing_back_ends_at_the_right_and_forward_begins_at_the_left():
    back = fan(3)
    forward = Trace(
        back.lot, "forward", back.lots, [TracedPour(p.target, p.source, p.mass) for p in back.pours]
    )
    for trace, place in ((back, max), (forward, min)):
        drawing = draw_trace(trace)
        root = next(box for box in drawing.boxes if box.key == "root")
        assert root.x == place(box.x for box in drawing.boxes)


def test_a_band_is_as_wide_as_what_it_carries_of_the_traced_lot():
    lots = [TracedLot(card("stock", "60"), Decimal(6), 1), TracedLot(card("bottle"), Decimal("0.6"), 2)]
    pours = [TracedPour("stock", "root", Decimal(6)), TracedPour("bottle", "stock", Decimal(6))]
    drawing = draw_trace(Trace(card("root"), "back", lots, pours))
    masses = {(band.source.key, band.target.key): band.mass for band in drawing.bands}
    assert masses == {("stock", "root"): Decimal(6), ("bottle", "stock"): Decimal("0.6")}
    widths = {band.source.key: band.width for band in drawing.bands}
    assert widths["stock"] == 10 * widths["bottle"]


def test_five_hundred_lots_are_folded_to_a_few_dozen_boxes_and_no_mass_is_lost():
    trace = fan(100, depth=5)
    drawing = draw_trace(trace)
    assert len(drawing.boxes) <= 5 * 8 + 1
    assert drawing.folded == 500 - 5 * 7
    shown = sum((box.mass for box in drawing.boxes if box.generation), Decimal(0))
    assert shown == sum((lot.mass for lot in trace.lots), Decimal(0))


def test_an_opened_generation_shows_all_its_lots():
    drawing = draw_trace(fan(100, depth=2), opened=frozenset({1}))
    assert sum(1 for box in drawing.boxes if box.generation == 1) == 100


def test_the_same_trace_is_the_same_drawing():
    assert draw_trace(fan(9, depth=3)) == draw_trace(fan(9, depth=3))
