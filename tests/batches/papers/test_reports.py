"""The recall report, the list for counting and the sheet of a making day."""

from decimal import Decimal

from batches.actions.dating import date_batch
from batches.papers.count_list import COLUMNS as COUNT_COLUMNS
from batches.papers.count_list import count_list_rows, print_count_list
from batches.papers.day_sheet import COLUMNS as DAY_COLUMNS
from batches.papers.day_sheet import day_sheet_rows, print_day_sheet
from batches.papers.recall import print_recall, recall_rows
from batches.queries.count_lists import count_list_of
from batches.queries.making_days import day_sheet_of
from batches.queries.recalls import recall_of
from inventory.actions.counting import discard
from inventory.actions.drawing_off import draw_off
from inventory.models import Lot
from inventory.queries.finding import lot_number
from inventory.queries.trace import trace_lot
from tests.batches.papers.conftest import COPY
from tests.conftest import NOW
from tests.papers import codes, words


def test_a_recall_tells_everything_a_bottle_touched_with_the_masses_of_the_trace(closed, shelved, studio):
    bottle = Lot.objects.of(studio).get(kind="bottle", title="linalool")
    vial = draw_off(by=shelved.by, now=NOW, number=closed.made.number, mass=Decimal("1.5"))
    discard(by=shelved.by, now=NOW, number=vial.number, mass=Decimal("0.5"), why="spoilt")
    waiting = shelved.plan(shelved.formula("next", "linalool@10% 1", "ethanol 1"), "4")
    shelved.reserve(waiting)
    recall = recall_of(studio=studio, number=bottle.number)
    trace = trace_lot(lot=bottle, direction="forward")
    assert [(one.lot, one.mass) for one in recall.reached] == [
        (one.lot.number, one.mass) for one in trace.lots
    ]
    told = words(print_recall(recall, COPY))
    for number in (bottle.number, closed.made.number, vial.number, waiting.number):
        assert number in told
    assert "S-77" in told
    assert "spoilt" in told
    assert "discarded" in told
    rows = list(recall_rows(recall))
    assert rows[0][1] == bottle.number
    assert {row[1] for row in rows[1:]} == {one.lot for one in recall.reached}


def test_a_recall_takes_the_same_statements_whatever_was_touched(closed, studio, django_assert_num_queries):
    for title in ("linalool", "ethanol"):
        lot = Lot.objects.of(studio).get(kind="bottle", title=title)
        with django_assert_num_queries(6):
            recall_of(studio=studio, number=lot.number)


def test_a_lot_that_touched_nothing_says_so(shelved, studio):
    lot = shelved.bottle("indole 5g")
    told = words(print_recall(recall_of(studio=studio, number=lot.number), COPY))
    assert "Nothing was poured or drawn off it" in told


def test_the_list_for_counting_has_blanks_and_not_what_the_book_says(
    shelved, studio, django_assert_num_queries
):
    lot = shelved.bottle("indole 7.7g", shelf=shelved.shelf, tare=Decimal("31.25"))
    with django_assert_num_queries(2):
        listed = count_list_of(studio=studio, shelf_id=shelved.shelf.id)
    data = print_count_list(listed, COPY)
    told = words(data)
    assert "31.250 g" in told
    assert "7.700" not in told
    assert sorted(lot_number(text, studio) for text in codes(data)) == [line.lot for line in listed.lines]
    rows = [dict(zip(COUNT_COLUMNS, row, strict=True)) for row in count_list_rows(listed)]
    assert [row["lot"] for row in rows] == [line.lot for line in listed.lines]
    assert lot.number in told


def test_an_emptied_lot_is_not_looked_for(shelved, studio):
    lot = shelved.bottle("indole 5g", shelf=shelved.shelf)
    discard(by=shelved.by, now=NOW, number=lot.number, why="spoilt")
    assert lot.number not in [
        line.lot for line in count_list_of(studio=studio, shelf_id=shelved.shelf.id).lines
    ]


def test_the_sheet_of_a_making_day_tells_what_to_fetch_from_where(
    shelved, reserved, studio, django_assert_num_queries
):
    day = NOW.date()
    date_batch(by=shelved.by, now=NOW, number=reserved.number, planned_on=day)
    with django_assert_num_queries(4):
        sheet = day_sheet_of(studio=studio, day=day)
    [making] = sheet.makings
    data = print_day_sheet(sheet, COPY)
    told = words(data)
    assert reserved.number in told
    assert "cold cupboard" in told
    assert [lot_number(text, studio) for text in codes(data)] == [pour.lot for pour in making.pours]
    rows = [dict(zip(DAY_COLUMNS, row, strict=True)) for row in day_sheet_rows(sheet)]
    assert [(row["lot"], row["mass"]) for row in rows] == [(one.lot, one.target) for one in making.pours]
    assert sum(row["mass"] for row in rows) == reserved.mass


def test_a_day_without_makings_says_so_and_a_draft_without_a_plan_why(shelved, studio):
    assert "Nothing is to be made on this day" in words(
        print_day_sheet(day_sheet_of(studio=studio, day=NOW.date()), COPY)
    )
    draft = shelved.plan(shelved.formula("big", "linalool@10% 1"), "4000")
    date_batch(by=shelved.by, now=NOW, number=draft.number, planned_on=NOW.date())
    [making] = day_sheet_of(studio=studio, day=NOW.date()).makings
    assert (making.pours, making.planned) == ((), False)
    assert making.reasons[0].split()[0] in words(
        print_day_sheet(day_sheet_of(studio=studio, day=NOW.date()), COPY)
    )
