"""Writing a formula by keyboard with the figures beside it, moving its lines, and pasting them from a spreadsheet."""

import pytest
from playwright.sync_api import expect

from batches.models import FormulaVersion
from tests.browser.conftest import faults_of, sign_in
from tests.browser.making import shelf

pytestmark = pytest.mark.usefixtures("committed")


@pytest.fixture
def desk(page, owner, bench):
    """The page for a new formula, with a shelf behind it."""
    shelf(bench)
    sign_in(page, owner)
    page.goto("/formula-new/")
    return page


def cell(page, column, line):
    return page.get_by_role(
        "combobox" if column in ("Material", "in solvent") else "textbox", name=f"{column} {line}"
    )


def type_line(page, *cells):
    """The cells of a line from where the focus is; "" leaves one as it is."""
    for place, text in enumerate(cells):
        if place:
            page.keyboard.press("Tab")
        if text:
            page.keyboard.type(text)


def names(page):
    return page.locator("#rows input[name=material]").evaluate_all("all => all.map(one => one.value)")


def test_a_formula_is_written_by_keyboard_alone_and_the_figures_follow(desk, owner):
    desk.get_by_label("Name").focus()
    desk.keyboard.type("Evening")
    cell(desk, "Material", 1).focus()
    type_line(desk, "linalool", "10", "ethanol", "30")
    expect(desk.locator("#figures")).to_contain_text("10\u00a0%")
    expect(cell(desk, "Parts", 1)).to_be_focused()
    desk.keyboard.press("Enter")
    expect(cell(desk, "Material", 2)).to_be_focused()
    type_line(desk, "vanillin", "", "", "5")
    desk.keyboard.press("Enter")
    type_line(desk, "ethanol", "", "", "45")
    expect(desk.locator("#figures")).to_contain_text("22.8571429\u00a0%")
    expect(desk.locator("#figures-said")).to_have_text("Strength 10 %, ceiling 22.86 %.")
    expect(desk.locator("#rows tr").first).to_contain_text("37.5 %")
    desk.get_by_role("button", name="Save the formula").focus()
    desk.keyboard.press("Enter")
    desk.wait_for_url("**/formulas/evening/1/")
    version = FormulaVersion.objects.get(studio=owner.studio, formula__code="evening")
    assert [str(line) for line in version.lines.order_by("position")] == [
        "linalool 0.100000000: 30.000000",
        "vanillin 1.000000000: 5.000000",
        "ethanol 1.000000000: 45.000000",
    ]


def test_lines_are_added_moved_and_removed_by_keys_and_the_focus_goes_along(desk):
    for line, name in enumerate(("linalool", "vanillin", "citral"), start=1):
        cell(desk, "Material", line).fill(name)
    cell(desk, "Material", 3).press("Alt+ArrowUp")
    assert names(desk) == ["linalool", "citral", "vanillin"]
    expect(cell(desk, "Material", 2)).to_be_focused()
    expect(desk.locator("#moved")).to_have_text("citral is line 2 now.")
    cell(desk, "Material", 2).press("Alt+Delete")
    assert names(desk) == ["linalool", "vanillin"]
    expect(cell(desk, "Material", 2)).to_be_focused()
    cell(desk, "Parts", 2).press("Enter")
    assert names(desk) == ["linalool", "vanillin", ""]
    expect(cell(desk, "Material", 3)).to_be_focused()
    for _ in range(3):
        desk.keyboard.press("Alt+Delete")
    assert names(desk) == [""]


def test_a_line_follows_the_pointer_that_holds_its_grip(desk):
    for line, name in enumerate(("linalool", "vanillin", "citral"), start=1):
        cell(desk, "Material", line).fill(name)
    grips = desk.locator("[data-grip]")
    start, end = grips.nth(0).bounding_box(), grips.nth(2).bounding_box()
    desk.mouse.move(start["x"] + 8, start["y"] + 20)
    desk.mouse.down()
    desk.mouse.move(start["x"] + 8, end["y"] + 40, steps=12)
    desk.mouse.up()
    assert names(desk) == ["vanillin", "citral", "linalool"]
    desk.get_by_role("button", name="Move line 3 up").click()
    assert names(desk) == ["vanillin", "linalool", "citral"]


def test_a_name_that_is_not_there_is_told_beside_its_line_and_asked_about(desk):
    cell(desk, "Material", 1).fill("linalol")
    cell(desk, "Parts", 1).fill("1,5")
    row = desk.locator("#rows tr").first
    expect(row).to_contain_text("There is no material “linalol” here. Did you mean linalool?")
    expect(row).to_contain_text("Use a point, not a comma.")
    desk.get_by_label("Name").fill("Evening")
    desk.get_by_role("button", name="Save the formula").click()
    expect(desk.get_by_role("alert")).to_contain_text("Nothing was saved yet: look at line 1.")
    assert desk.evaluate("document.activeElement.name") == "material"
    assert faults_of(desk) == []


def test_the_solvent_of_the_line_before_is_taken_for_the_next_dilution(desk):
    cell(desk, "Material", 1).focus()
    type_line(desk, "linalool", "10", "ethanol", "3")
    desk.keyboard.press("Enter")
    type_line(desk, "citral", "1", "", "3")
    expect(cell(desk, "in solvent", 2)).to_have_value("ethanol")


def test_cells_of_a_spreadsheet_are_read_shown_and_taken(desk):
    desk.get_by_text("Paste from a spreadsheet").click()
    field = desk.get_by_label("Copied cells, or lines parted by semicolons")
    field.fill("linalool\t10 %\tethanol\t3\nvanillin\t0.1\tethanol\t1,000")
    read = desk.locator("#pasted-read")
    expect(read).to_contain_text("Line 2, parts: “1,000” may mean thousands or a decimal comma")
    expect(read.get_by_role("button")).to_have_count(0)
    assert faults_of(desk) == []
    field.fill("linalool\t10 %\tethanol\t3\nvanillin\t0.1\tethanol\t1,5\nethanol\t\t\t10")
    expect(read.get_by_role("status")).to_contain_text("3 lines can be taken as read.")
    read.get_by_role("button", name="Add these lines").click()
    expect(cell(desk, "Material", 3)).to_have_value("ethanol")
    assert names(desk) == ["linalool", "vanillin", "ethanol"]
    expect(cell(desk, "Parts", 2)).to_have_value("1.5")
    expect(desk.locator("#figures")).to_contain_text("3.1034483\u00a0%")


def test_cells_pasted_into_a_name_open_the_reading_of_them(desk):
    cell(desk, "Material", 1).focus()
    desk.evaluate(
        """() => {
          const told = new DataTransfer();
          told.setData("text", "linalool\\t10 %\\tethanol\\t3\\nethanol\\t\\t\\t7");
          document.activeElement.dispatchEvent(
            new ClipboardEvent("paste", {clipboardData: told, bubbles: true, cancelable: true}));
        }"""
    )
    expect(desk.locator("#pasted-read")).to_contain_text("2 lines can be taken as read.")


def test_the_editor_works_without_its_script(open_page, owner, bench, chromium, service):
    shelf(bench)
    page = open_page()
    page.route("**/lines.js", lambda route: route.fulfill(body="", content_type="text/javascript"))
    sign_in(page, owner)
    page.goto("/formula-new/")
    cell(page, "Material", 1).fill("linalool")
    page.get_by_role("button", name="Add a line").click()
    expect(page.locator("#rows tr")).to_have_count(4)
    page.get_by_role("button", name="Move line 1 down").click()
    assert names(page) == ["", "linalool", "", ""]
