"""The small modules of the bench page by themselves, in a page that has nothing else: which lot is in hand, how an entry is
sent, and what is said of those that are not saved."""

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.usefixtures("committed")

ITEM = "04000000000017"
OTHER = "04000000000024"


@pytest.fixture
def bare(page: Page) -> Page:
    """The page of signing in, whose body is put aside for what a module looks for."""
    page.goto("/sign-in/")
    page.evaluate(
        """item => {
            const made = (tag, more, ...inside) => {
                const one = Object.assign(document.createElement(tag), more);
                one.append(...inside);
                return one;
            };
            const bench = made("div", {id: "bench"});
            bench.dataset.item = item;
            document.body.replaceChildren(
                bench,
                made("div", {id: "stop", hidden: true}),
                made("form", {id: "weigh"}, made("input", {name: "csrfmiddlewaretoken", value: "of-the-form"})),
                made("section", {id: "unsaved", hidden: true}, made("h2", {id: "unsaved-head"}),
                     made("p", {id: "unsaved-why"}), made("ul", {id: "unsaved-list"})),
            );
        }""",
        ITEM,
    )
    return page


def run(page: Page, module: str, body: str, *given: object) -> object:
    """What `body` gives, in which `m` is a module of the bench page."""
    return page.evaluate(
        f"async given => {{ const m = await import('/static/batches/bench/{module}.js'); {body} }}",
        list(given),
    )


def test_the_lot_in_hand_is_known_in_any_spelling_and_never_by_the_label_of_another_studio(
    bare: Page,
) -> None:
    right = [
        "26-0011-7",
        " 26 0011\u20137",
        "https://here.example/lots/26-0011-7/",
        f"https://here.example/01/{ITEM}/10/26-0011-7?17=280101",
        f"]C101{ITEM}1728010110" + "26-0011-7",
        f"(01){ITEM}(10)26-0011-7",
    ]
    wrong = [
        "",
        "26-0011-8",
        f"https://here.example/01/{OTHER}/10/26-0011-7",
        f"(01){OTHER}(10)26-0011-7",
    ]
    answers = run(
        bare, "lot_in_hand", "return given[0].map(told => m.isLot('26-0011-7', told))", right + wrong
    )
    assert answers == [True] * len(right) + [False] * len(wrong)


def test_a_wrong_lot_stops_with_a_sentence_and_the_way_to_the_line_that_takes_it(bare: Page) -> None:
    run(bare, "lot_in_hand", "m.showStop('This is <b>citral</b>.', '4')")
    stop = bare.locator("#stop")
    expect(stop).to_be_visible()
    expect(stop).to_contain_text("Stop. This is <b>citral</b>.")
    expect(stop.get_by_role("link", name="Go to line 4")).to_have_attribute("href", "?line=4")
    run(bare, "lot_in_hand", "m.showStop('Nobody takes it.', '')")
    expect(stop.get_by_role("link")).to_have_count(0)


def test_an_entry_is_sent_as_the_form_would_with_its_age_and_the_token_of_the_cookie(bare: Page) -> None:
    sent = []

    def answer(route):
        sent.append(route.request)
        route.fulfill(status=200, body="{}", content_type="application/json")

    bare.route("**/kept/", answer)
    send = (
        "document.cookie = given[0];"
        "const entry = {operation: 'one', mass: '2.5', made: Date.now() - 61500, secret: 'no'};"
        "return (await m.poster('/kept/', ['operation', 'mass', 'lot'])(entry)).status"
    )
    cleared = "csrftoken=; path=/; expires=Thu, 01 Jan 1970 00:00:00 GMT"
    assert run(bare, "sending", send, "csrftoken=of-the-cookie; path=/") == 200
    assert run(bare, "sending", send, cleared) == 200
    assert sent[0].post_data == "operation=one&mass=2.5&lot=&age=61"
    assert [one.headers["x-csrftoken"] for one in sent] == ["of-the-cookie", "of-the-form"]


def test_what_is_not_saved_is_listed_with_why_and_what_can_be_done_about_it(bare: Page) -> None:
    show = """
        window.done = [];
        const show = (entries, state) => m.showUnsaved({entries, state, lasting: true, told: one => `${one.mass} g`,
            again: (one, more) => done.push([one.operation, more]), drop: one => done.push([one.operation, 'dropped'])});
        show(...given)
    """
    waiting = {"operation": "a", "mass": "1.5"}
    moved = {
        **waiting,
        "operation": "b",
        "refused": {"code": "line-moved-on", "sentence": "2 g.", "holds": "2"},
    }
    twice = {**waiting, "operation": "c", "refused": {"code": "asked-twice", "sentence": "Again?"}}
    run(bare, "unsaved", show, [waiting, moved, twice], "unreachable")
    expect(bare.locator("#unsaved-head")).to_have_text("Not saved yet: 3 weighings")
    expect(bare.locator("#unsaved-why")).to_contain_text("sent in order when the connection is back")
    expect(bare.locator("#unsaved-a button")).to_have_count(0)
    bare.locator("#unsaved-b").get_by_role("button", name="Record mine as well").click()
    third = bare.locator("#unsaved-c")
    third.get_by_role("button", name="Record it so").click()
    third.get_by_label("The weight a second time").fill("1.5")
    third.get_by_role("button", name="Record it so").click()
    third.get_by_role("button", name="Put it away").click()
    assert bare.evaluate("done") == [["b", {"seen": "2"}], ["c", {"again": "1.5"}], ["c", "dropped"]]
    run(bare, "unsaved", show, [], "")
    expect(bare.locator("#unsaved")).to_be_hidden()
