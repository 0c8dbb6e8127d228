"""The whole job in one sitting: from an empty studio to a vial that is traced back to its bottles, by clicks and keys.

Once with a mouse and a scanner, once with the keyboard alone. That it can be done in five minutes of pages is counted in
steps (a click, a field filled, a scan), not by a clock: at three seconds a step.
"""

from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from batches.models import Batch, Weighing
from inventory.models import Lot
from studio.models import Member
from tests.browser.bench_scene import lots_of, scan, type_weight
from tests.browser.conftest import sign_in
from tests.workbench import assert_everything_holds

pytestmark = pytest.mark.usefixtures("committed")

SECONDS_A_STEP = 3
FIVE_MINUTES = 300
MATERIALS = "name,kind,hazards,flash_point_c\nlinalool,odorant,H315 H317,\nvanillin,odorant,,\nethanol,solvent,H225,12.0\n"


class Hands:
    """A person at the pages, who counts what they do."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.steps = 0

    def press(self, name: str, role: Any = "button") -> None:
        self.steps += 1
        self.page.get_by_role(role, name=name, exact=True).first.click()

    def follow(self, name: str) -> None:
        self.press(name, "link")

    def fill(self, **told: str) -> None:
        """Fill fields by the names they are sent under."""
        for name, text in told.items():
            self.steps += 1
            self.page.locator(f"main [name={name}]").fill(text)

    def scan(self, number: str) -> None:
        self.steps += 1
        scan(self.page, number)

    def type_weight(self, text: str) -> None:
        self.steps += 1
        type_weight(self.page, text)


def numbers(owner: Member) -> dict[str, str]:
    """The lot numbers of what stands on the shelf, by title."""
    return {lot.title: lot.number for lot in Lot.objects.of(owner.studio).order_by("id")}


def newest_batch(owner: Member) -> Batch:
    batch = Batch.objects.of(owner.studio).order_by("-id").first()
    assert batch is not None
    return batch


def weigh_all(hands: Hands, batch: Batch) -> None:
    """Every line by a scan and its target typed; the page goes on to the next line by itself."""
    lots = lots_of(batch)
    hands.page.locator("#confirm-lot").wait_for()
    for line in batch.lines.order_by("position"):
        expect(hands.page.locator(f"#take-{line.position}")).to_be_visible()
        hands.scan(lots[line.position])
        expect(hands.page.locator("#weight")).to_be_focused()
        hands.type_weight(str(line.target))
        expect(hands.page.locator(f"#goto-{line.position}")).to_contain_text("poured")


def test_from_an_empty_studio_to_a_traced_vial_by_clicks_and_scans(page: Page, owner: Member) -> None:
    hands = Hands(page)
    sign_in(page, owner)

    expect(page.get_by_role("heading", name="Three first steps")).to_be_visible()
    hands.follow("Import a sheet")
    hands.steps += 1
    page.get_by_label("CSV file").set_input_files(
        {"name": "materials.csv", "mimeType": "text/csv", "buffer": MATERIALS.encode()}
    )
    hands.press("Take it")
    expect(page.locator("#flash")).to_contain_text("3 materials are taken")

    for material, mass in (("linalool", "100"), ("vanillin", "50"), ("ethanol", "900")):
        page.goto("/")
        hands.follow("Receive a bottle")
        hands.fill(material=material, mass=mass)
        hands.press("Receive it")
        expect(page.locator("#flash")).to_contain_text("is on the shelf as lot")

    page.goto("/balances/")
    hands.follow("Enter the first balance")
    hands.fill(name="fine", capacity="220", readability="0.001", repeatability="0.001", linearity="0.002")
    hands.press("Enter it")

    page.goto("/batches/")
    hands.follow("Plan a stock")
    hands.fill(material="linalool", strength="10", solvent="ethanol", mass="40")
    hands.press("Plan it")
    hands.press("Reserve everything")
    hands.follow("Weigh")
    weigh_all(hands, newest_batch(owner))
    close(hands)
    stock = newest_batch(owner).made
    assert stock is not None

    page.goto("/")
    hands.follow("Write a formula")
    hands.fill(name="Evening")
    for line, cells in enumerate(
        (("linalool", "10", "ethanol", "30"), ("vanillin", "", "", "5"), ("ethanol", "", "", "45"))
    ):
        for name, text in zip(("material", "dilution", "solvent", "parts"), cells, strict=True):
            if text:
                hands.steps += 1
                page.locator(f"#rows tr:nth-child({line + 1}) [name={name}]").fill(text)
    hands.press("Save the formula")
    hands.follow("Plan a batch")
    hands.fill(mass="40")
    hands.press("Plan it")
    hands.press("Reserve everything")
    hands.follow("Weigh")
    weigh_all(hands, newest_batch(owner))
    close(hands)

    hands.follow("Draw off a vial")
    hands.fill(mass="2.5")
    hands.press("Draw it off")
    expect(page.get_by_text("2.500 g are in lot")).to_be_visible()
    hands.steps += 1
    page.get_by_role("link", name="Trace back").click()
    bottles = numbers(owner)
    for number in (bottles["linalool"], bottles["vanillin"], bottles["ethanol"], stock.number):
        expect(page.locator(f"svg.trace a[href='/lots/{number}/']")).to_be_visible()
    hands.steps += 1
    page.locator(f"svg.trace a[href='/lots/{bottles['linalool']}/']").click()
    expect(page.get_by_text("96.000 g").first).to_be_visible()

    assert_everything_holds()
    assert hands.steps * SECONDS_A_STEP <= FIVE_MINUTES, f"{hands.steps} steps"


def close(hands: Hands) -> None:
    hands.follow("Everything is poured: close the batch")
    hands.press("Close the batch")
    expect(hands.page.get_by_role("link", name="Draw off a vial")).to_be_visible()


def write(page: Page, text: str) -> None:
    """Type as a hand does, slower than any scanner."""
    page.keyboard.type(text, delay=50)


def reach(page: Page, target: str) -> None:
    """Go with Tab to what `target` names, as one does without a mouse; it has to come within one round."""
    page.locator("body").press("Home")
    for _ in range(120):
        if page.evaluate("target => Boolean(document.activeElement?.matches(target))", target):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{target} is not reached with Tab on {page.url}")


def test_from_a_formula_to_a_traced_vial_by_keyboard_alone(page: Page, owner: Member, bench: Any) -> None:
    """No mouse and no scanner: Tab, letters and Enter. A typed lot number is noted as typed."""
    bench.bottle("linalool 100g")
    bench.bottle("ethanol 500g")
    bench.balance()
    sign_in(page, owner)

    page.goto("/formula-new/")
    reach(page, "main [name=name]")
    write(page, "Evening")
    reach(page, "#rows tr:first-child [name=material]")
    write(page, "linalool")
    reach(page, "#rows tr:first-child [name=parts]")
    page.keyboard.type("3")
    page.keyboard.press("Enter")
    write(page, "ethanol")
    reach(page, "#rows tr:nth-child(2) [name=parts]")
    page.keyboard.type("7")
    reach(page, "main .send button[value=save]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/formulas/evening/1/")

    reach(page, "main a[href*='/batches/plan/']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/batches/plan/**")
    reach(page, "main [name=mass]")
    page.keyboard.type("20")
    page.keyboard.press("Enter")
    page.wait_for_url("**/batches/B*/")
    reach(page, "form[action$='/reserve/'] button")
    page.keyboard.press("Enter")
    expect(page.locator("#flash")).to_contain_text("is reserved.")

    batch = newest_batch(owner)
    reach(page, "main a[href$='/bench/']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench/**")
    page.locator("#confirm-lot").wait_for()
    reach(page, "#lot-in-hand")
    for line in batch.lines.select_related("lot").order_by("position"):
        expect(page.locator("#lot-in-hand")).to_be_focused()
        type_weight(page, line.lot.number)
        expect(page.locator("#weight")).to_be_focused()
        type_weight(page, str(line.target))
    expect(page.locator("#unsaved")).to_be_hidden()
    page.get_by_role("link", name="Everything is poured: close the batch").wait_for()
    reach(page, "#close-batch")
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench/close/")
    reach(page, "main [name=title]")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Draw off a vial").wait_for()

    reach(page, "main a[href$='/draw-off/']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/draw-off/")
    reach(page, "main [name=mass]")
    page.keyboard.type("2.5")
    page.keyboard.press("Enter")
    expect(page.get_by_text("2.500 g are in lot")).to_be_visible()
    reach(page, "main a[href$='/trace/']")
    page.keyboard.press("Enter")
    bottle = numbers(owner)["linalool"]
    page.locator(f"svg.trace a[href='/lots/{bottle}/']").wait_for()
    reach(page, f"svg.trace a[href='/lots/{bottle}/']")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/lots/{bottle}/")

    assert list(Weighing.objects.filter(batch=batch).order_by("id").values_list("mass", flat=True)) == [
        Decimal(6),
        Decimal(14),
    ]
    assert_everything_holds()
