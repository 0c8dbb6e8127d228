"""Weighings on a bad network: none lost, none doubled, and “not saved yet” until the service has answered."""

from collections.abc import Iterator
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.bench_scene import (
    balance_says,
    laid_out,
    lots_of,
    open_bench,
    scan,
    standing,
    type_weight,
)
from tests.browser.conftest import sign_in

pytestmark = pytest.mark.usefixtures("committed")
WEIGHINGS = "**/bench/weighings/"


@pytest.fixture
def rough(chromium: Any, service: str) -> Iterator[Any]:
    """A browser whose console may tell of requests that failed, because here they are made to."""
    context = chromium.new_context(base_url=service, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.set_default_timeout(20_000)
    yield page
    context.close()


def arrives_unanswered(route: Any) -> None:
    """The service gets the request; its answer never comes back."""
    route.fetch()
    route.abort()


def test_an_answer_that_is_lost_leaves_one_weighing(rough, owner, bench):
    batch = laid_out(bench)
    sign_in(rough, owner)
    open_bench(rough, batch)
    lost = []
    rough.route(
        WEIGHINGS,
        lambda route: (lost.append(1), arrives_unanswered(route)) if not lost else route.continue_(),
    )
    scan(rough, lots_of(batch)[1])
    type_weight(rough, "3.001")
    expect(rough.locator("#unsaved-head")).to_have_text("Not saved yet: 1 weighing")
    expect(rough.locator("#unsaved")).to_be_hidden()
    assert lost
    assert standing(batch) == [(1, Decimal("3.001"))]


def test_the_work_goes_on_offline_and_is_saved_in_order_afterwards(rough, owner, bench):
    batch = laid_out(bench)
    lots = lots_of(batch)
    sign_in(rough, owner)
    open_bench(rough, batch)
    rough.context.set_offline(True)
    for position, weight in ((1, "3.001"), (2, "1.999"), (3, "1.001")):
        scan(rough, lots[position])
        type_weight(rough, weight)
    expect(rough.locator("#unsaved-head")).to_have_text("Not saved yet: 3 weighings")
    expect(rough.locator("#unsaved-why")).to_contain_text("cannot be reached")
    expect(rough.locator("#take-4")).to_be_visible()
    assert standing(batch) == []
    rough.context.set_offline(False)
    expect(rough.locator("#unsaved")).to_be_hidden()
    assert standing(batch) == [(1, Decimal("3.001")), (2, Decimal("1.999")), (3, Decimal("1.001"))]


def test_a_tab_that_is_killed_loses_nothing(rough, owner, bench):
    batch = laid_out(bench)
    sign_in(rough, owner)
    open_bench(rough, batch)
    rough.route(WEIGHINGS, lambda route: route.abort())
    scan(rough, lots_of(batch)[1])
    type_weight(rough, "3.001")
    expect(rough.locator("#unsaved-head")).to_have_text("Not saved yet: 1 weighing")
    again = rough.context.new_page()
    rough.close()
    again.goto(f"/batches/{batch.number}/bench/close/")
    expect(again.locator("#unsent")).to_be_visible()
    open_bench(again, batch)
    expect(again.locator("#goto-1")).to_contain_text("poured")
    expect(again.locator("#unsaved")).to_be_hidden()
    assert standing(batch) == [(1, Decimal("3.001"))]


def test_a_reload_in_the_middle_keeps_the_lot_and_what_was_typed(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    page.keyboard.type("3.00", delay=60)
    page.reload()
    expect(page.locator("#lot-told")).to_have_text("Confirmed by a scan.")
    expect(page.locator("#weight")).to_have_value("3.00")
    expect(page.locator("#said")).to_contain_text("not recorded yet")
    assert standing(batch) == []
    page.locator("#record").click()
    expect(page.locator("#goto-1")).to_contain_text("poured")
    assert standing(batch) == [(1, Decimal("3"))]


def test_the_second_on_a_line_is_warned_before_anything_is_recorded(open_page, owner, maker, bench):
    batch = laid_out(bench)
    first, second = open_page(), open_page()
    # The second browser has not looked again since the first recorded.
    second.route("**/bench/live/**", lambda route: route.fulfill(status=204))
    for page, member in ((first, owner), (second, maker)):
        sign_in(page, member)
        open_bench(page, batch)
    for page in (first, second):
        scan(page, lots_of(batch)[1])
        type_weight(page, "3")
        expect(first.locator("#goto-1")).to_contain_text("poured")
    expect(second.locator("#unsaved-list")).to_contain_text("held 0 g when you looked and holds 3 g now")
    expect(second.get_by_role("button", name="Record mine as well")).to_be_visible()
    assert standing(batch) == [(1, Decimal("3"))]
    second.get_by_role("button", name="Put it away").click()
    expect(second.locator("#unsaved")).to_be_hidden()
    assert second.evaluate("document.activeElement !== document.body")
    assert standing(batch) == [(1, Decimal("3"))]


def test_a_browser_learns_what_another_recorded_and_keeps_the_focus(open_page, owner, maker, bench):
    batch = laid_out(bench)
    page = open_page()
    sign_in(page, maker)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    page.keyboard.type("1.", delay=60)
    bench.weigh(batch, 1, "1.5")
    expect(page.locator("#said")).to_contain_text("it held 0 g and holds 1.5 g now", timeout=15_000)
    expect(page.locator("#weight")).to_be_focused()
    expect(page.locator("#weight")).to_have_value("1.")
    expect(page.locator("#log-1")).to_contain_text("1.500")


def test_signing_out_elsewhere_keeps_the_weighing_until_one_is_in_again(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    cookies = page.context.cookies()
    page.context.clear_cookies(name="sessionid")
    scan(page, lots_of(batch)[1])
    type_weight(page, "3")
    expect(page.locator("#unsaved-why")).to_contain_text("You are signed out")
    page.context.add_cookies(cookies)
    expect(page.locator("#unsaved")).to_be_hidden()
    assert standing(batch) == [(1, Decimal("3"))]


def test_thirty_percent_loss_either_way_loses_and_doubles_nothing(rough, owner, bench):
    """Fifty readings in a row; of every hundred requests fifteen do not arrive and fifteen are not answered."""
    batch = laid_out(bench, mass="100")
    sign_in(rough, owner)
    open_bench(rough, batch)
    dice = Random(11)

    def lossy(route: Any) -> None:
        fate = dice.random()
        if fate < 0.15:
            route.abort()
        elif fate < 0.3:
            arrives_unanswered(route)
        else:
            route.continue_()

    rough.route(WEIGHINGS, lossy)
    scan(rough, lots_of(batch)[1])
    expect(rough.locator("#lot-told")).to_have_text("Confirmed by a scan.")
    masses = [Decimal(dice.randint(300, 500)).scaleb(-3) for _ in range(50)]
    for mass in masses:
        balance_says(rough, "S 0.000 g", f"S +{mass} g")
        rough.evaluate("document.getElementById('take-reading').click()")
    expect(rough.locator("#unsaved")).to_be_hidden(timeout=150_000)
    assert standing(batch) == [(1, mass) for mass in masses]
