"""The bench by scanner, keyboard, gloves and balance, in a real browser."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from batches.models import BatchState, Weighing
from tests.browser.bench_scene import (
    balance_says,
    laid_out,
    lots_of,
    open_bench,
    scan,
    standing,
    type_weight,
)
from tests.browser.conftest import SCHEMES, faults_of, sign_in

pytestmark = pytest.mark.usefixtures("committed")

LAYOUT = {"-": "ß", "Y": "Z", "Z": "Y"}
"""What a scanner set to US keys types on a German layout, of the letters that differ."""


def test_a_scan_confirms_the_lot_wherever_the_focus_is(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    for focused in (
        "#weight",
        "#record",
        "#lot-in-hand",
        "#find",
        ".take:not([hidden]) a[rel=next]",
        "#goto-3",
        "#baud",
    ):
        page.reload()
        page.locator("#confirm-lot").wait_for()
        if page.locator(focused).is_visible():
            page.locator(focused).focus()
        scan(page, lots_of(batch)[1])
        expect(page.locator("#lot-told")).to_have_text("Confirmed by a scan.")
        expect(page.locator("#weight")).to_be_focused()
        assert page.locator("#weight").input_value() == ""
        page.evaluate("localStorage.clear()")
    assert page.url.startswith(f"{page.url.split('/batches')[0]}/batches/{batch.number}/bench/")
    assert standing(batch) == []


def test_a_wrong_lot_stops_with_both_names_and_nothing_is_recorded(page, owner, bench):
    batch = laid_out(bench)
    lots = lots_of(batch)
    stranger = bench.bottle("citral 5g")
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots[2])
    expect(page.locator("#stop")).to_contain_text(f"{lots[1]} (linalool); {lots[2]} (vanillin) is in hand")
    page.get_by_role("link", name="Go to line 2, which takes it").click()
    expect(page.locator("#take-2")).to_be_focused()
    scan(page, stranger.number)
    expect(page.locator("#stop")).to_contain_text(
        f"{stranger.number} (citral) is in hand. Nothing was recorded."
    )
    type_weight(page, "2")
    page.locator("#weight").fill("2")
    page.locator("#record").click()
    expect(page.locator("#lot-in-hand")).to_be_focused()
    assert standing(batch) == []


def test_a_mistyped_lot_number_is_asked_back_and_a_typed_one_is_noted_as_typed(page, owner, bench):
    batch = laid_out(bench)
    number = lots_of(batch)[1]
    slip = number[:-1] + ("A" if number[-1] != "A" else "B")
    sign_in(page, owner)
    open_bench(page, batch)
    page.locator("#lot-in-hand").focus()
    type_weight(page, slip)
    expect(page.locator("#stop")).to_contain_text(f"Did you mean {number}")
    type_weight(page, number.lower().replace("-", ""))
    expect(page.locator("#lot-told")).to_have_text("Confirmed, typed and not scanned.")


def test_a_scanner_on_another_keyboard_layout_is_understood(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    keys = [(LAYOUT.get(letter, letter), letter) for letter in lots_of(batch)[1]]
    page.evaluate(
        """keys => {
          const code = letter => letter === "-" ? "Minus" : /\\d/.test(letter) ? `Digit${letter}` : `Key${letter}`;
          const press = (key, code) => document.body.dispatchEvent(
            new KeyboardEvent("keydown", {key, code, bubbles: true, cancelable: true}));
          keys.forEach(([key, letter]) => press(key, code(letter)));
          press("Enter", "Enter");
        }""",
        keys,
    )
    expect(page.locator("#lot-told")).to_have_text("Confirmed by a scan.")


def test_hundreds_of_scans_leave_no_stray_character_and_take_no_wrong_lot(page, owner, bench):
    batch = laid_out(bench)
    lots = lots_of(batch)
    sign_in(page, owner)
    open_bench(page, batch)
    confirmed = page.evaluate(
        """([right, wrong]) => {
          const places = ["#weight", "#lot-in-hand", "#record", "#find", "#goto-2"];
          const type = (field, text) => {
            field.focus();
            for (const key of [...text, "Enter"]) {
              const event = new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true});
              const goes = field.dispatchEvent(event);
              if (goes && key.length === 1 && field.matches("input")) field.value += key;
            }
          };
          let confirmed = 0, stray = 0;
          for (let turn = 0; turn < 400; turn += 1) {
            const field = document.querySelector(places[turn % places.length]);
            const told = turn % 2 ? right : wrong;
            type(field, told);
            const says = document.getElementById("lot-told").textContent;
            if (says === "Confirmed by a scan.") confirmed += told === right ? 1 : 1000;
            if (document.getElementById("weight").value || document.getElementById("find").value) stray += 1;
          }
          return [confirmed, stray];
        }""",
        [lots[1], lots[2]],
    )
    assert confirmed == [200, 0]
    assert standing(batch) == []


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("3,001", "may be 3.001 or 3001"),
        ("3001", "Write 3001 mg, or 3001 g"),
        ("3 Mg", "milligrams or a thousand kilograms"),
        ("03", "begins with a 0"),
        ("-3", "below zero"),
    ],
)
def test_an_unclear_weight_is_refused_in_words_and_nothing_is_sent(page, owner, bench, typed, words):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    type_weight(page, typed)
    expect(page.locator("#weight-told")).to_contain_text(words)
    expect(page.locator("#weight")).to_be_focused()
    assert standing(batch) == []


def test_a_weight_in_another_unit_is_shown_back_and_recorded_in_grams(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    page.keyboard.type("3001 mg", delay=60)
    expect(page.locator("#weight-told")).to_have_text("3001 mg is 3.001 g.")
    page.keyboard.press("Enter")
    expect(page.locator("#goto-1")).to_contain_text("poured")
    assert standing(batch) == [(1, Decimal("3.001"))]


def test_a_whole_batch_is_weighed_and_closed_with_keys_alone(page, owner, bench):
    batch = laid_out(bench)
    lots = lots_of(batch)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots[1])
    type_weight(page, "0.3")
    expect(page.locator("#question")).to_contain_text("a tenth of the 3 g to pour")
    expect(page.locator("#again")).to_be_focused()
    type_weight(page, "0.3")
    expect(page.locator("#weight")).to_be_focused()
    type_weight(page, "2.7")
    expect(page.locator("#take-2")).to_be_visible()
    for position, weight in ((2, "2,01"), (3, "1.0"), (4, "4")):
        expect(page.locator("#lot-in-hand")).to_be_focused()
        type_weight(page, lots[position])
        expect(page.locator("#weight")).to_be_focused()
        type_weight(page, weight)
    close = page.get_by_role("link", name="Everything is poured: close the batch")
    close.wait_for()
    expect(page.locator("#unsaved")).to_be_hidden()
    assert page.evaluate("document.activeElement !== document.body")
    close.press("Enter")
    page.get_by_label("Name of the lot").press("Enter")
    expect(page.get_by_role("link", name="Draw off a vial")).to_be_visible()
    batch.refresh_from_db()
    assert batch.state == BatchState.CLOSED
    assert [mass for _, mass in standing(batch)] == [Decimal(m) for m in ("0.3", "2.7", "2.01", "1", "4")]


def test_an_overpour_opens_the_ways_on_and_the_chosen_one_gives_new_targets(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    type_weight(page, "3.6")
    type_weight(page, "3.6")
    expect(page.locator("#ways-head")).to_be_focused()
    expect(page.locator(".ways .card")).to_have_count(4)
    page.locator("#way-enlarge-fully").press("Enter")
    expect(page.locator("#flash")).to_contain_text("Enlarge the batch until nothing is too much")
    expect(page.locator("#goto-2")).to_contain_text("2.400")


def test_an_entry_is_struck_through_from_the_bench(page, owner, bench):
    batch = laid_out(bench)
    bench.weigh(batch, 1, "0.3")
    sign_in(page, owner)
    open_bench(page, batch)
    page.get_by_role("link", name="Strike through 0.300").click()
    page.get_by_role("button", name="Strike it through").click()
    expect(page.locator("#log-1 .struck")).to_contain_text("0.300")
    expect(page.locator("#log-1")).to_contain_text("The weight was mistyped")
    assert standing(batch) == []


def test_a_balance_on_the_wire_is_shown_live_and_only_a_stable_reading_is_taken(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    for line, words in (
        ("SD +1.204 g", "still moving"),
        ("-0.003 g", "below zero"),
        ("3.001 ct", "weighs in “ct”"),
        ("G 3.001 g", "not understood"),
        ("3.001 g", "still moving"),
    ):
        balance_says(page, line)
        expect(page.locator("#reading-told")).to_contain_text(words)
        page.locator("#take-reading").click(force=True)
    balance_says(page, "SD +1.204 g")
    expect(page.locator("#figures-1 .sentence")).to_contain_text(
        "1.796 g still to pour — on the balance, not recorded yet"
    )
    assert standing(batch) == []
    balance_says(page, "S +3.001 g")
    expect(page.locator("#reading-told")).to_have_text("Stable.")
    page.locator("#take-reading").dblclick()
    expect(page.locator("#goto-1")).to_contain_text("poured")
    weighing = Weighing.objects.get(batch=batch)
    assert (weighing.source, weighing.reading) == ("balance", "S +3.001 g")


def test_a_balance_is_read_through_the_serial_port_of_the_browser(page, owner, bench):
    batch = laid_out(bench)
    page.add_init_script(
        """const text = ["  2.99", "9 g\\r\\n  2.999 g\\r", "\\n2.999 g\\r\\n"].map(part => new TextEncoder().encode(part));
        const port = {open: async ({baudRate}) => { window.rate = baudRate; }, readable: new ReadableStream({
          start(stream) { text.forEach(part => stream.enqueue(part)); } })};
        Object.defineProperty(navigator, "serial", {value: {requestPort: async () => port}});"""
    )
    sign_in(page, owner)
    open_bench(page, batch)
    scan(page, lots_of(batch)[1])
    page.get_by_role("button", name="Connect a balance").click()
    expect(page.locator("#reading-told")).to_have_text("Stable.")
    assert page.evaluate("window.rate") == 9600
    page.locator("#take-reading").click()
    expect(page.locator("#goto-1")).to_contain_text("poured")
    assert standing(batch) == [(1, Decimal("2.999"))]


def test_keys_for_gloves_are_twenty_millimetres_and_write_the_weight(page, owner, bench):
    batch = laid_out(bench)
    sign_in(page, owner)
    open_bench(page, batch)
    page.get_by_role("button", name="Keys for gloves").click()
    page.locator(".keys").wait_for()
    page.set_viewport_size({"width": 360, "height": 900})
    small = page.evaluate(
        """() => [...document.querySelectorAll("#bench button, #bench .button, #bench input:not([type=hidden]), #bench select, #bench nav a")]
          .filter(one => one.checkVisibility()).map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
          .filter(([, box]) => box.height < 75.5 || box.width < 75.5).map(([html]) => html)"""
    )
    assert small == []
    scan(page, lots_of(batch)[1])
    for key in ("3", "point", "0", "9", "take the last one away", "1"):
        page.locator(".keys").get_by_role("button", name=key, exact=True).click()
    assert page.locator("#weight").input_value() == "3.01"
    page.locator("#record").click()
    expect(page.locator("#goto-1")).to_contain_text("poured")
    assert standing(batch) == [(1, Decimal("3.01"))]


@pytest.mark.looks
@pytest.mark.parametrize(("scheme", "widths"), SCHEMES.items())
def test_nothing_is_wrong_with_the_bench_in_any_state(open_page, owner, bench, scheme, widths):
    page = open_page(scheme=scheme)
    batch = laid_out(bench)
    lots = lots_of(batch)
    faults = {}

    def look(state: str) -> None:
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            if found := faults_of(page):
                faults[f"{state} at {width}"] = found

    sign_in(page, owner)
    open_bench(page, batch)
    look("open")
    scan(page, lots[2])
    expect(page.locator("#stop")).to_be_visible()
    look("stopped")
    scan(page, lots[1])
    type_weight(page, "30")
    look("asked twice")
    type_weight(page, "30")
    expect(page.locator("#ways-head")).to_be_visible()
    balance_says(page, "S +3.001 g")
    look("overpoured")
    page.get_by_role("link", name="Strike through 30").click()
    look("striking")
    page.go_back()
    page.get_by_role("button", name="Keys for gloves").click()
    page.locator(".keys").wait_for()
    look("gloves")
    page.goto(f"/batches/{batch.number}/bench/close/")
    look("closing")
    page.get_by_label("Why lines are left out").fill("a trial")
    page.get_by_role("button", name="Close the batch").click()
    page.get_by_label("Declare what the weighings say").or_(
        page.get_by_role("link", name="Draw off a vial")
    ).first.wait_for()
    look("closed or deciding")
    assert faults == {}
