"""Planning a batch in a browser: by keyboard from the formula to the claims, and with lots chosen by hand."""

import pytest
from playwright.sync_api import expect

from batches.models import Batch
from tests.browser.conftest import faults_of, sign_in
from tests.browser.making import shelf

pytestmark = pytest.mark.usefixtures("committed")


@pytest.fixture
def formula(page, owner, bench):
    """A formula on a page of its own, with a shelf that has its linalool ten times as strong as it is written."""
    shelf(bench)
    version = bench.formula("dew", "linalool@1%/ethanol 30", "vanillin 3", "ethanol 7", name="Dew")
    sign_in(page, owner)
    page.goto("/formulas/dew/")
    return version


def test_a_batch_is_planned_and_reserved_by_keyboard_alone(page, formula, owner):
    page.get_by_role("link", name="Plan a batch").press("Enter")
    page.get_by_label("Mass, g").focus()
    page.keyboard.type("20")
    page.keyboard.press("Tab")
    page.keyboard.type("6")
    page.keyboard.press("Enter")
    page.wait_for_url("**/batches/B*/")
    expect(page.get_by_role("heading", name="As written, as planned")).to_be_visible()
    row = page.get_by_role("row").filter(has_text="linalool")
    expect(row).to_contain_text("1\u00a0% in ethanol")
    expect(row).to_contain_text("frees")
    page.get_by_role("button", name="Reserve everything").press("Enter")
    expect(page.locator("#flash")).to_contain_text("is reserved.")
    expect(page.get_by_role("link", name="Weigh", exact=True)).to_be_visible()
    batch = Batch.objects.get(studio=owner.studio)
    assert batch.state == "reserved"
    assert sum(line.lot.reserved for line in batch.lines.select_related("lot")) == 20


def test_a_lot_is_chosen_by_keys_and_the_plan_made_again(page, formula):
    page.goto("/batches/plan/?formula=dew&mass=20")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url("**/batches/B*/")
    choice = page.get_by_label("Lot for linalool")
    choice.focus()
    page.keyboard.press("ArrowDown")
    chosen = choice.input_value()
    page.get_by_role("button", name="Plan again").press("Enter")
    expect(page.locator("#flash")).to_contain_text("made anew")
    row = page.get_by_role("row").filter(has_text="linalool")
    expect(row).to_contain_text("chosen by hand")
    expect(row).to_contain_text(chosen)
    expect(page.get_by_label("Lot for linalool")).to_have_value(chosen)


def test_a_lot_is_dragged_onto_its_line_and_the_plan_made_again(page, formula):
    page.goto("/batches/plan/?formula=dew&mass=20")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url("**/batches/B*/")
    # Scrolling while the pointer is down would take hold of what comes under it.
    page.set_viewport_size({"width": 1280, "height": 2000})
    linalool = page.get_by_role("row").filter(has_text="linalool")
    vanillin = page.get_by_role("row").filter(has_text="vanillin")
    lot = linalool.locator(".lots li").first
    number = lot.get_attribute("data-lot")
    lot.drag_to(vanillin.locator("th"))
    expect(page.get_by_label("Lot for vanillin")).to_have_value("")
    lot.drag_to(linalool.locator("th"))
    expect(page.get_by_label("Lot for linalool")).to_have_value(number)
    expect(page.get_by_label("Lot for linalool")).to_be_focused()
    expect(page.locator("#lot-said")).to_contain_text(f"linalool is to be poured from {number}.")
    page.get_by_role("button", name="Plan again").click()
    expect(linalool).to_contain_text("chosen by hand")


def test_the_grams_of_a_pour_are_edited_by_hand_and_meant(page, formula):
    page.goto("/batches/plan/?formula=dew&mass=20")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url("**/batches/B*/")
    page.get_by_text("Grams by hand").click()
    field = page.get_by_role("group", name="vanillin").get_by_role("textbox").first
    field.fill("1")
    page.get_by_role("button", name="Take it as written here").click()
    expect(page.get_by_role("alert")).to_contain_text("vanillin")
    expect(field).to_have_value("1")
    assert faults_of(page) == []
    page.get_by_label("I mean it so").check()
    page.get_by_role("button", name="Take it as written here").click()
    expect(page.locator("#flash")).to_contain_text("taken as written")
    expect(page.get_by_text("Planned by hand.")).to_be_visible()
    expect(page.get_by_role("row").filter(has_text="vanillin")).to_contain_text("1.000")


def test_a_remedy_is_one_press_away(page, formula):
    page.goto("/batches/plan/?formula=dew&mass=1500")
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_role("heading", name="It cannot be made as things stand")).to_be_visible()
    page.get_by_role("button", name="Take ").click()
    expect(page.locator("#flash")).to_contain_text("Planned anew")
    expect(page.get_by_role("button", name="Reserve everything")).to_be_visible()


def test_giving_up_asks_for_the_reason(page, formula):
    page.goto("/batches/plan/?formula=dew&mass=20")
    page.get_by_role("button", name="Plan it").click()
    page.get_by_text("Give this batch up").click()
    page.get_by_label("Why", exact=True).fill("no time today")
    page.get_by_role("button", name="Give it up").click()
    expect(page.get_by_text("no time today")).to_be_visible()
