"""Every page about formulas and batches, at three widths, light and dark: nothing wrong with any of them."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import SCHEMES, WIDTHS, faults_of, sign_in
from tests.browser.making import Making, shelf

pytestmark = pytest.mark.usefixtures("committed")


@pytest.mark.looks
@pytest.mark.parametrize(("scheme", "widths"), SCHEMES.items())
def test_nothing_is_wrong_with_any_page(open_page, owner, bench, scheme, widths):
    page = open_page(scheme=scheme)
    sign_in(page, owner)
    faults = {}
    for path in ["/formulas/", "/batches/", "/batches/plan/", *Making(bench).addresses]:
        page.goto(path)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            if found := faults_of(page):
                faults[f"{path} at {width}"] = found
    assert faults == {}


@pytest.mark.looks
def test_nothing_is_wrong_with_what_is_folded_open(page, owner, bench):
    making = Making(bench)
    sign_in(page, owner)
    for path in (
        "/formulas/meadow/",
        "/formula-new/",
        "/batches/plan/?formula=meadow",
        f"/batches/{making.closed.number}/",
        f"/batches/{making.draft.number}/",
    ):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert faults_of(page) == [], (path, width)


def test_nothing_is_wrong_with_a_plan_that_was_refused(page, owner, bench):
    shelf(bench)
    bench.formula("dew", "linalool@1%/ethanol 30", "ethanol 7")
    sign_in(page, owner)
    page.goto("/batches/plan/?formula=dew")
    page.get_by_label("Mass, g").fill("2,5")
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_text("Use a point, not a comma.")).to_be_visible()
    assert page.evaluate("document.activeElement.name") == "mass"
    assert faults_of(page) == []
