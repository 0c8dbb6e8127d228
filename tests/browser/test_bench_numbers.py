"""Scans and bad networks in numbers: a moderate count each time, ten thousand and a hundred with `STILLROOM_LONG=1`."""

from collections.abc import Iterator
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from playwright.sync_api import expect

from batches.models import RefusedReading
from studio.models import Member
from tests.browser.bench_scene import balance_says, laid_out, lots_of, open_bench, scan, standing
from tests.browser.conftest import sign_in
from tests.long import LONG, many
from tests.workbench import Workbench

pytestmark = pytest.mark.usefixtures("committed")

SCANS = """async ([turns, right, wrongs]) => {
  const { replaceLive } = await import("/static/batches/bench/live.js");
  const places = ["#weight", "#lot-in-hand", "#record", "#find", "#goto-2", "#again", "#close-batch", "h1", "#confirm-lot"];
  const layout = { "-": "ß", Y: "Z", Z: "Y" };
  const code = (letter) => letter === "-" ? "Minus" : /\\d/.test(letter) ? `Digit${letter}` : `Key${letter}`;
  const at = (id) => document.getElementById(id);
  let sent = 0, pressed = 0;
  at("weigh").addEventListener("submit", () => { sent += 1; }, true);
  for (const one of document.querySelectorAll("button, a")) one.addEventListener("click", () => { pressed += 1; }, true);
  const swap = (turn) => replaceLive(["bench-list", "figures-1"].map((id) => {
    const fresh = at(id).cloneNode(true);
    fresh.dataset.turn = turn;
    return fresh.outerHTML;
  }).join(""), () => {});
  const type = (text, foreign, cut) => {
    const keys = [...text].map((letter) => [foreign ? layout[letter] ?? letter : letter, code(letter)]);
    for (const [place, [key, pressedKey]] of [...keys, ["Enter", "Enter"]].entries()) {
      if (place === cut) swap(place);
      const field = document.activeElement ?? document.body;
      const event = new KeyboardEvent("keydown", { key, code: pressedKey, bubbles: true, cancelable: true });
      const goes = field.dispatchEvent(event);
      if (goes && key.length === 1 && field.matches("input")) field.value += key;
      if (goes && key === "Enter" && field.matches("button, a")) field.click();
    }
  };
  const told = { right: 0, wrongTaken: 0, rightMissed: 0, stray: 0, lostFocus: 0 };
  for (let turn = 0; turn < turns; turn += 1) {
    document.querySelector(places[turn % places.length])?.focus();
    const good = turn % 3 !== 0;
    const text = good ? right : wrongs[turn % wrongs.length];
    const cut = turn % 7 === 0 ? turn % text.length : -1;
    const times = turn % 11 === 0 ? 2 : 1;
    for (let time = 0; time < times; time += 1) type(text, turn % 5 === 0, cut);
    const confirmed = at("lot-told").textContent === "Confirmed by a scan." && at("lot-in-hand").value === right;
    if (good) told[confirmed ? "right" : "rightMissed"] += 1;
    else if (confirmed) told.wrongTaken += 1;
    if (at("weight").value || at("find").value || at("again").value) told.stray += 1;
    if (at("lot-in-hand").value && at("lot-in-hand").value !== right) told.stray += 1;
    if (document.activeElement === document.body) told.lostFocus += 1;
  }
  return { ...told, sent, pressed };
}"""


def test_scans_take_no_wrong_lot_leave_no_character_and_send_nothing(
    page: Any, owner: Member, bench: Workbench
) -> None:
    """Any focus, in the midst of a swap, double reads, another keyboard layout, every third one a wrong lot."""
    turns = many(450, 10_000)
    batch = laid_out(bench)
    lots = lots_of(batch)
    sign_in(page, owner)
    open_bench(page, batch)
    page.set_default_timeout(600_000)
    told = page.evaluate(SCANS, [turns, lots[1], [lots[2], lots[3]]])
    right = turns - len(range(0, turns, 3))
    assert told == {
        "right": right,
        "wrongTaken": 0,
        "rightMissed": 0,
        "stray": 0,
        "lostFocus": 0,
        "sent": 0,
        "pressed": 0,
    }
    assert standing(batch) == []
    expect(page.locator("#weight, #lot-in-hand").first).to_be_visible()
    assert set(RefusedReading.objects.filter(batch=batch).values_list("told", flat=True)) <= {
        lots[2],
        lots[3],
    }


@pytest.fixture
def rough(chromium: Any, service: str) -> Iterator[Any]:
    """A browser whose console may tell of requests that failed, because here they are made to."""
    context = chromium.new_context(base_url=service, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.set_default_timeout(30_000)
    yield page
    context.close()


def test_a_slow_lossy_network_and_five_minutes_without_any_lose_and_double_nothing(
    rough: Any, owner: Member, bench: Workbench
) -> None:
    """Two seconds of delay, 30 % loss either way, five minutes offline by the page's clock, the tab killed once."""
    dice = Random(5)
    count = many(12, 100)
    batch = laid_out(bench, mass="280")
    page = rough
    page.clock.install()
    sign_in(page, owner)
    open_bench(page, batch)

    def worsen(page: Any) -> None:
        def lossy(route: Any) -> None:
            fate = dice.random()
            if fate < 0.15:
                route.abort()
            elif fate < 0.3:
                route.fetch()
                route.abort()
            else:
                route.continue_()

        page.route("**/bench/weighings/", lossy)
        network = page.context.new_cdp_session(page)
        network.send("Network.enable")
        slow = {
            "offline": False,
            "latency": 2000 if LONG else 150,
            "downloadThroughput": -1,
            "uploadThroughput": -1,
        }
        network.send("Network.emulateNetworkConditions", slow)

    def pour(page: Any, masses: list[Decimal]) -> None:
        scan(page, lots_of(batch)[1])
        expect(page.locator("#lot-told")).to_have_text("Confirmed by a scan.")
        for mass in masses:
            balance_says(page, "S 0.000 g", f"S +{mass} g")
            page.evaluate("document.getElementById('take-reading').click()")

    masses = [Decimal(dice.randint(300, 800)).scaleb(-3) for _ in range(count)]
    third = count // 3
    worsen(page)
    pour(page, masses[:third])
    page.context.set_offline(True)
    pour(page, masses[third : 2 * third])
    page.clock.fast_forward(300_000)
    expect(page.locator("#unsaved-why")).to_contain_text("cannot be reached")
    page.context.set_offline(False)
    again = page.context.new_page()
    again.set_default_timeout(60_000)
    page.close()
    open_bench(again, batch)
    worsen(again)
    pour(again, masses[2 * third :])
    expect(again.locator("#unsaved")).to_be_hidden(timeout=1_200_000)
    assert standing(batch) == [(1, mass) for mass in masses]
