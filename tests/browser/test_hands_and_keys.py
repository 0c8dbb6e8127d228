"""The pages by hand and by keyboard: filtering as one types, the search, a scanner, an impatient finger."""

import pytest
from playwright.sync_api import expect

from inventory.models import Lot
from tests.browser.conftest import sign_in

pytestmark = pytest.mark.usefixtures("committed")


def scan(page, text):
    """What a scanner does: every key at once, then Enter."""
    page.keyboard.type(text, delay=2)
    page.keyboard.press("Enter")


def test_the_shelf_is_narrowed_as_one_types_and_the_focus_stays(page, owner, bench):
    linalool, citral = bench.bottle("linalool 10g"), bench.bottle("citral 5g")
    sign_in(page, owner)
    page.goto("/shelf/")
    field = page.get_by_label("Name, number or scan")
    field.press_sequentially("linal")
    expect(page.get_by_text(citral.number, exact=True)).to_have_count(0)
    expect(page.get_by_text(linalool.number, exact=True)).to_be_visible()
    expect(field).to_be_focused()
    assert "q=linal" in page.url
    page.get_by_label("State").select_option("held")
    expect(page.get_by_role("status").filter(has_text="No lot fits")).to_be_visible()


def test_a_slash_goes_to_the_search_and_the_arrows_through_what_is_found(page, owner, bench):
    lot = bench.bottle("linalool 10g")
    sign_in(page, owner)
    page.keyboard.press("/")
    expect(page.locator("#find")).to_be_focused()
    page.keyboard.type("linal", delay=60)
    expect(page.locator("#found").get_by_text(lot.number)).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#found")).to_be_empty()
    page.keyboard.type("o", delay=60)
    expect(page.locator("#found").get_by_text(lot.number)).to_be_visible()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/lots/{lot.number}/")


def test_the_slash_can_be_given_back(page, owner):
    sign_in(page, owner)
    page.goto("/you/")
    page.get_by_label("The key / goes to the search").uncheck()
    page.goto("/shelf/")
    page.locator("body").press("/")
    expect(page.locator("#find")).not_to_be_focused()


def test_a_scan_opens_the_lot_wherever_one_is(page, owner, bench):
    lot = bench.bottle("linalool 10g")
    sign_in(page, owner)
    for path in ("/", "/materials/", "/you/"):
        page.goto(path)
        scan(page, lot.number)
        page.wait_for_url(f"**/lots/{lot.number}/")


def test_a_scan_presses_no_button_that_has_the_focus(page, owner, bench):
    lot = bench.bottle("linalool 10g")
    sign_in(page, owner)
    page.goto("/you/")
    page.get_by_role("button", name="Sign out").focus()
    scan(page, lot.number)
    page.wait_for_url(f"**/lots/{lot.number}/")


def test_a_bottle_is_received_with_keys_alone_and_a_second_press_does_nothing(page, owner, bench):
    bench.material("linalool")
    sign_in(page, owner)
    page.goto("/shelf/receive/")
    page.get_by_label("Material", exact=True).focus()
    page.keyboard.type("linalool")
    page.keyboard.press("Tab")
    page.keyboard.type("12.5")
    page.evaluate(
        "() => { const form = document.querySelector('main form'); form.requestSubmit(); form.requestSubmit(); }"
    )
    page.wait_for_url("**/lots/**")
    expect(page.get_by_role("status").filter(has_text="is on the shelf as lot")).to_be_visible()
    assert Lot.objects.of(owner.studio).count() == 1


def test_from_an_empty_studio_to_a_vial_by_clicks(page, owner):
    sign_in(page, owner)
    page.get_by_role("link", name="Add one").click()
    page.get_by_label("Name", exact=True).fill("linalool")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_role("link", name="Receive a bottle").click()
    page.get_by_label("Net mass, g").fill("10")
    page.get_by_role("button", name="Receive it").click()
    page.get_by_role("link", name="Draw off").click()
    page.get_by_label("Mass, g", exact=True).fill("1.25")
    page.get_by_role("button", name="Draw it off").click()
    expect(page.get_by_text("1.250 g are in lot")).to_be_visible()
    page.get_by_role("link", name="Trace back: 1 lot").click()
    expect(page.get_by_role("heading", name="What is behind linalool")).to_be_visible()
    bottle = Lot.objects.of(owner.studio).get(kind="bottle")
    page.locator(f"svg.trace a[href='/lots/{bottle.number}/']").click()
    expect(page.get_by_text("8.750 g").first).to_be_visible()
