"""Panels on the pages: set up with a live plan, answered by one press, told in plain words when they are finished."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.answering import look_at_panel
from batches.models import Panel, PanelAnswer, PanelServing
from tests.batches.api.test_blind_panels import ORDERS, SWAP, told, twin
from tests.batches.panelling import answer, answer_all, set_up
from tests.conftest import NOW
from tests.pages import Visitor, text
from tests.workbench import Workbench


@pytest.fixture
def bench(owner):
    return Workbench(owner, NOW)


def press(visitor, panel, number, code):
    return visitor.send(f"/panels/{panel.pk}/trays/{number}/", code=str(code))


def test_a_panel_is_set_up_answered_and_told(bench, maker):
    lots = [bench.bottle("linalool 5g"), bench.bottle("geraniol 5g")]
    filler, nose = Visitor(bench.by), Visitor(maker)
    seen = filler.text(f"/panels/new/?lot={lots[0].number}")
    assert "16 answers: at least 9 of them right would be significant at 5 %" in seen
    told_form = {
        "title": "Old and new",
        "method": "triangle",
        "lot_a": lots[0].number,
        "lot_b": lots[1].number.lower(),
        "people": str(maker.pk),
        "answers": "3",
    }
    assert "Fill them by the key" in filler.send_and_follow("/panels/new/", **told_form)
    panel = Panel.objects.get(studio=bench.by.studio)
    assert "Trays wait for you Old and new" in nose.text("/panels/")
    assert "Which tray is in front of you?" in nose.text(f"/panels/{panel.pk}/sit/")
    codes = PanelServing.objects.get(panel=panel, number=2).codes
    seen = nose.text(f"/panels/{panel.pk}/trays/2/")
    assert f"Which one is different? {codes[0]} {codes[1]} {codes[2]}" in seen
    assert press(nose, panel, 2, codes[1]).status_code == 303
    assert "Tray 2 was answered by" not in nose.text(f"/panels/{panel.pk}/trays/1/")
    assert "This tray was answered by" in nose.text(f"/panels/{panel.pk}/trays/2/")
    assert "2 of 3 answers are still missing" in nose.text(f"/panels/{panel.pk}/result/")
    answer(bench, panel, maker, 1)
    answer(bench, panel, maker, 3)
    seen = nose.text(f"/panels/{panel.pk}/result/")
    assert "What the panel says" in seen
    assert "keep it off the skin" in seen
    assert "not a safety assessment" in seen
    assert "Seed of the draw" in nose.text(f"/panels/{panel.pk}/key/")


def test_what_is_pressed_wrong_is_told_and_nothing_is_kept(bench, maker):
    panel = set_up(bench, maker, answers=3)
    nose = Visitor(maker)
    for code in ("", "abc", "99", "1000", "\u0661\u0662\u0663"):
        refused = press(nose, panel, 1, code)
        assert refused.status_code == 422
        assert "look again at both" in text(refused)
    filler = Visitor(bench.by)
    assert "You were not named for this panel." in filler.text(f"/panels/{panel.pk}/trays/1/")
    assert nose.get(f"/panels/{panel.pk}/trays/4/").status_code == 404
    assert not PanelAnswer.objects.filter(panel=panel).exists()


def test_a_form_that_is_faulty_keeps_what_was_typed(bench, maker):
    filler = Visitor(bench.by)
    answer_page = filler.send("/panels/new/", title="Blind", method="pair", lot_a="26-0001-0", lot_b="")
    assert answer_page.status_code == 422
    seen = text(answer_page)
    assert "There is no lot 26-0001-0 here." in seen
    assert 'value="Blind"' in answer_page.content.decode()
    plan = filler.text("/panels/new/plan/?method=duo-trio&share=50&level=5&power=80")
    assert re.match(r"\d+ answers: at least \d+ of them right", plan)
    assert "Reckoned as soon as" in filler.text("/panels/new/plan/?method=triangle&share=500")
    assert "More than 300" in filler.text("/panels/new/plan/?method=triangle&share=1")


def test_a_nose_is_tried_with_the_stocks_on_the_shelf(bench, maker):
    bench.bottle("linalool 20g")
    solvent = bench.bottle("ethanol 500g")
    stocks = [bench.stock(f"linalool@{percent}% 20g") for percent in ("10", "1")]
    filler = Visitor(bench.by)
    assert "From which strength on" in filler.text("/panels/new/nose/")
    seen = filler.text("/panels/new/nose/?material=linalool")
    assert f"1 % – {stocks[1].number} 10 % – {stocks[0].number}" in seen
    assert "stocks of ethanol in a solvent are needed" in filler.text("/panels/new/nose/?material=ethanol")
    filler.send_and_follow(
        "/panels/new/nose/?material=linalool",
        title="Linalool",
        person=str(maker.pk),
        stocks=[lot.number for lot in stocks],
        solvent=solvent.number,
        triangles="3",
    )
    panel = Panel.objects.get(studio=bench.by.studio)
    nose = Visitor(maker)
    assert "Tray 1" in nose.text(f"/panels/{panel.pk}/sit/")
    assert "Tray 2" not in nose.text(f"/panels/{panel.pk}/sit/")
    answer_all(bench, panel, maker)
    seen = nose.text(f"/panels/{panel.pk}/result/")
    assert "Perceived from 1 % on, or weaker still." in seen
    assert "You tell it from the solvent at 1 %: 3 of 3 right" in seen


def test_looking_and_ending_early_ask_why_and_say_so(bench, maker):
    panel = set_up(bench, maker, answers=6)
    filler, nose = Visitor(bench.by), Visitor(maker)
    answer_all(bench, panel, maker, until=2)
    assert filler.send(f"/panels/{panel.pk}/look/", why="").status_code == 422
    seen = filler.send_and_follow(f"/panels/{panel.pk}/look/", why="impatient")
    assert "Interim. This is what the first 2 answers say" in seen
    assert "still missing" in nose.text(f"/panels/{panel.pk}/result/")
    filler.send_and_follow(f"/panels/{panel.pk}/end/", why="spilled")
    assert "The panel was ended after 2 of 6 answers: spilled" in nose.text(f"/panels/{panel.pk}/result/")


def test_the_key_is_closed_to_those_who_sit_and_twins_look_alike(bench, maker, reader):
    """What stands on the trays changes no page of those who sit; the twins differ in nothing else."""
    lots = (bench.bottle("linalool 5g"), bench.bottle("geraniol 5g"))
    orders = [list(ORDERS), [order.translate(SWAP) for order in ORDERS]]
    twins = [twin(bench, maker, one, lots) for one in orders]
    for member, paths in (
        (maker, ("", "sit/", "trays/1/", "result/", "key/", "look/", "end/")),
        (reader, ("", "result/", "key/")),
    ):
        visitor = Visitor(member)
        for path in paths:
            one, other = (told(visitor.get(f"/panels/{panel.pk}/{path}")) for panel in twins)
            assert one == other, path
            assert "f" * 32 not in one[1]
        assert visitor.get(f"/panels/{twins[0].pk}/key/").status_code == 403
    assert "f" * 32 in Visitor(bench.by).text(f"/panels/{twins[0].pk}/key/")


def test_pages_read_a_fixed_number_of_statements(bench, maker):
    visitor = Visitor(bench.by)
    counts = []
    for answers in (2, 12):
        panel = set_up(bench, maker, answers=answers)
        answer_all(bench, panel, maker, until=answers - 1)
        look_at_panel(by=bench.by, now=NOW, panel_id=panel.pk, why="once")
        counts.append([])
        for path in ("", f"{panel.pk}/", f"{panel.pk}/key/", f"{panel.pk}/result/", f"{panel.pk}/trays/1/"):
            with CaptureQueriesContext(connection) as captured:
                assert visitor.get(f"/panels/{path}").status_code == 200
            counts[-1].append(len(captured))
        set_up(bench, maker)
    assert counts[0] == counts[1]
