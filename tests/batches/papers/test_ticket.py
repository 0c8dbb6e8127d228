"""The ticket on paper says what the pages and the API say, before weighing and after closing."""

from dataclasses import replace

import pytest

from batches.papers.ticket import COLUMNS, print_ticket, ticket_rows
from batches.queries.tickets import ticket_of
from inventory.queries.finding import lot_number
from studio.models import SealedRecord
from tests.batches.papers.conftest import COPY
from tests.conftest import NOW
from tests.papers import codes, fonts, pages, words
from tests.studio.checkpointing import checkpoint


def test_before_weighing_it_names_every_lot_with_its_target_and_what_is_allowed(reserved, studio):
    told = words(print_ticket(ticket_of(studio=studio, number=reserved.number), COPY))
    assert "Batch ticket" in told.title() or "BATCH TICKET" in told
    assert "Hedge after rain" in told
    assert "copy 2" in told
    for line in reserved.lines.select_related("lot"):
        assert line.lot.number in told
        assert line.lot.title in told
    assert "3.000 g" in told
    assert "2.940 – 3.060 g" in told
    assert "cold cupboard" in told
    assert "fine one" in told
    assert "last passed check 1 Mar 2026, 09:30" in told
    assert "local rules and a qualified assessor decide" in told
    assert "flammable" in told
    assert "page 1 of 1" in told


def test_each_lots_code_is_read_from_the_paper_and_finds_the_lot(reserved, studio):
    ticket = ticket_of(studio=studio, number=reserved.number)
    found = [lot_number(text, studio) for text in codes(print_ticket(ticket, COPY))]
    assert found == [line.lot for line in ticket.lines]
    assert len(found) == 3


def test_after_closing_it_is_the_record(closed, studio):
    told = words(print_ticket(ticket_of(studio=studio, number=closed.number), COPY))
    assert "3.0124 g" in told
    assert "+0.0124 g" in told
    assert "2.900 g" in told
    assert "Struck by Ada Owner, 1 Mar 2026, 09:30: beaker was not tared" in told
    assert "fine one (1 Mar 2026, 09:30), typed" in told
    assert closed.made.number in told
    assert "10.0124 g" in told
    for material in ("linalool", "vanillin", "ethanol"):
        assert material in told
    seal = SealedRecord.objects.get(studio=studio, subject="batch", name=closed.number)
    assert seal.seal in told.replace(" ", "")


def test_it_bears_the_code_of_the_newest_checkpoint_by_which_the_records_can_be_proved(closed, studio):
    assert "checkpoint" not in words(print_ticket(ticket_of(studio=studio, number=closed.number), COPY))
    code = checkpoint(studio, NOW).code
    told = words(print_ticket(ticket_of(studio=studio, number=closed.number), COPY))
    assert f"Newest checkpoint of the studio’s records: {code}, 1 Mar 2026" in told


def test_the_figures_are_those_of_the_api_the_page_and_the_sheet(closed, studio, api):
    from tests.pages import Visitor

    ticket = ticket_of(studio=studio, number=closed.number)
    told = words(print_ticket(ticket, COPY))
    page = Visitor(closed.by).text(f"/batches/{closed.number}/")
    answer = api.get(f"batches/{closed.number}/").json()
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in ticket_rows(ticket)]
    for line, shown in zip(ticket.lines, answer["lines"], strict=True):
        row = next(row for row in rows if row["position"] == line.position and not row["struck_by"])
        for name in ("target", "smallest", "largest", "weighed", "deviation"):
            assert f"{getattr(line, name):.6f}" == shown[name] == f"{row[name]:.6f}"
        for mass in (line.target, line.weighed):
            whole, _, places = f"{mass:.6f}".partition(".")
            text = f"{whole}.{places.rstrip('0').ljust(3, '0')} g"
            assert text in told
            assert text in page


def test_the_same_record_is_the_same_bytes(closed, studio):
    ticket = ticket_of(studio=studio, number=closed.number)
    assert print_ticket(ticket, COPY) == print_ticket(ticket_of(studio=studio, number=closed.number), COPY)
    assert print_ticket(ticket, COPY) != print_ticket(ticket, replace(COPY, number=3))


@pytest.mark.parametrize("count", [1, 200])
def test_a_ticket_may_have_one_line_or_two_hundred(count, reserved, studio):
    ticket = ticket_of(studio=studio, number=reserved.number)
    lines = tuple(replace(ticket.lines[0], position=place) for place in range(1, count + 1))
    data = print_ticket(replace(ticket, lines=lines), COPY)
    last = pages(data)
    assert words(data).count(ticket.lines[0].lot) == count
    assert f"page {last} of {last}" in words(data, last)
    assert "What to pour" in words(data, max(1, last - 1))


NAMES = {
    "hebrew": "מי ורדים",
    "arabic": "ماء الورد",
    "chinese": "玫瑰純露",
    "japanese": "すずらんの香り",
    "korean": "장미수",
    "greek": "ροδόνερο",
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES.keys())
def test_names_in_other_scripts_are_printed_with_letters_of_their_own(name, reserved, studio, caplog):
    ticket = ticket_of(studio=studio, number=reserved.number)
    data = print_ticket(replace(ticket, title=name), COPY)
    told = words(data)
    assert name in told or name[::-1] in told or _letters(name) <= set(told)
    assert not caplog.records, "a letter no font has"
    if any("\u3000" < letter < "\uffff" for letter in name):
        assert "MicroHei" in fonts(data).replace("-", "")


def _letters(name: str) -> set[str]:
    return set(name) - {" "}


def test_a_name_as_long_as_is_kept_pushes_nothing_off_the_paper(reserved, studio):
    ticket = ticket_of(studio=studio, number=reserved.number)
    long = "methyldihydrojasmonate" * 7
    line = replace(ticket.lines[0], title=long, material=long, shelf=long[:80], supplier_lot=long[:80])
    data = print_ticket(replace(ticket, title=long, lines=(line,)), COPY)
    assert ticket.number in words(data)
    assert [lot_number(text, studio) for text in codes(data)] == [line.lot]


def test_it_takes_the_same_statements_for_one_line_and_for_three(
    closed, shelved, studio, django_assert_num_queries
):
    small = shelved.plan(
        shelved.formula("single", "linalool@10% 1", "ethanol 1"), "4", balance=closed.balance
    )
    shelved.reserve(small)
    shelved.weigh_all(small)
    shelved.close(small)
    with django_assert_num_queries(16):
        ticket_of(studio=studio, number=small.number)
    with django_assert_num_queries(16):
        ticket_of(studio=studio, number=closed.number)
