"""Panels in a browser: nothing wrong with any page, a live plan, and a tray answered by thumb or by keyboard."""

from uuid import uuid4

import pytest
from playwright.sync_api import expect

from batches.actions.answering import look_at_panel
from batches.actions.panels import WantedTrial, set_up_trial
from batches.models import PanelAnswer, PanelMethod
from studio.actions.studios import add_member
from tests.batches.panelling import answer_all, right, set_up, wrong
from tests.browser.conftest import SCHEMES, faults_of, sign_in
from tests.conftest import PASSWORD

pytestmark = pytest.mark.usefixtures("committed")


class Panels:
    """A studio with a panel in every state; `pages` are those of who fills the trays, `sitting` of who sits."""

    def __init__(self, bench):
        self.sitter = add_member(
            by=bench.by,
            name="Maud Maker",
            email=f"maud-{uuid4().hex[:12]}@example.org",
            password=PASSWORD,
            role="maker",
            at=bench.now,
        )
        self.sitter.studio = bench.by.studio
        self.open = set_up(bench, self.sitter, title="Rose accord, old and new", note="Strips, not vials.")
        answer_all(bench, self.open, self.sitter, until=5)
        look_at_panel(by=bench.by, now=bench.now, panel_id=self.open.pk, why="The strips were running out.")
        told = set_up(bench, self.sitter, title="Two harvests of vetiver", answers=24)
        answer_all(bench, told, self.sitter, lambda n, place: (right if n <= 15 else wrong)(n, place))
        pair = set_up(
            bench, self.sitter, title="More rose", method=PanelMethod.PAIR, attribute="rose", answers=10
        )
        answer_all(bench, pair, self.sitter, lambda n, place: place if n <= 6 else 1 - place)
        bench.bottle("linalool 20g")
        solvent = bench.bottle("ethanol 500g")
        stocks = [bench.stock(f"linalool@{percent}% 20g") for percent in ("10", "1", "0.1")]
        wanted = WantedTrial(
            title="Maud and linalool", sitter=self.sitter, stocks=stocks, solvent=solvent, triangles=4
        )
        trial = set_up_trial(by=bench.by, now=bench.now, wanted=wanted)
        answer_all(bench, trial, self.sitter, lambda n, place: (wrong if n <= 4 else right)(n, place))
        self.pages = [
            "/panels/",
            "/panels/new/",
            "/panels/new/nose/",
            "/panels/new/nose/?material=linalool",
            "/panels/new/nose/?material=ethanol",
            *(f"/panels/{self.open.pk}/{path}" for path in ("", "key/", "result/", "look/", "end/")),
            *(f"/panels/{told.pk}/{path}" for path in ("", "key/", "result/")),
            f"/panels/{pair.pk}/result/",
            f"/panels/{trial.pk}/result/",
        ]
        self.sitting = [
            "/panels/",
            *(f"/panels/{self.open.pk}/{path}" for path in ("", "sit/", "trays/7/", "trays/1/", "result/")),
        ]


@pytest.mark.looks
@pytest.mark.parametrize(("scheme", "widths"), SCHEMES.items())
def test_nothing_is_wrong_with_any_page(open_page, owner, bench, scheme, widths):
    panels = Panels(bench)
    faults = {}
    for member, paths in ((owner, panels.pages), (panels.sitter, panels.sitting)):
        page = sign_in(open_page(scheme=scheme), member)
        for path in paths:
            page.goto(path)
            for width in widths:
                page.set_viewport_size({"width": width, "height": 900})
                if found := faults_of(page):
                    faults[f"{path} at {width}"] = found
    assert faults == {}


def test_the_plan_follows_what_is_typed(page, owner, bench):
    sign_in(page, owner)
    page.goto("/panels/new/")
    expect(page.get_by_text("16 answers: at least 9 of them right")).to_be_visible()
    page.get_by_label("Share to be found, %").fill("30")
    expect(page.get_by_text("40 answers: at least 19 of them right")).to_be_visible()
    page.get_by_role("textbox", name="Answers (optional)").fill("24")
    expect(page.get_by_text("24 answers: at least 13 of them right")).to_be_visible()
    assert page.evaluate("document.activeElement.name") == "answers"


def test_a_tray_is_answered_by_one_press_on_a_phone(open_page, bench):
    panels = Panels(bench)
    page = sign_in(open_page(width=360), panels.sitter)
    page.goto("/panels/")
    page.get_by_role("link", name="Sit down").first.click()
    page.get_by_role("link", name="Tray 6", exact=True).click()
    codes = panels.open.servings.get(number=6).codes
    button = page.get_by_role("button", name=str(codes[1]), exact=True)
    assert button.bounding_box()["height"] >= 90
    button.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Tray 6 is answered. Let your nose rest.")).to_be_visible()
    assert PanelAnswer.objects.get(panel=panels.open, serving__number=6).chosen == 1
