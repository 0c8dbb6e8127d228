"""The first page, the search, and the demo studio."""

import pytest

from inventory.actions.holding import hold_lots
from studio.jobs import look_after
from studio.queries.alerts import alerts_of
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def visitor(owner):
    return Visitor(owner)


def test_an_empty_studio_opens_on_three_steps(visitor, bench):
    page = visitor.text("/")
    for step in ("Write down your materials", "Receive your bottles", "Write a formula"):
        assert step in page
    assert "Load the demo studio" in page
    bench.bottle("linalool 5g")
    assert "Load the demo studio" not in visitor.text("/")


def test_a_reader_is_not_asked_to_take_steps(reader):
    assert "Three first steps" not in Visitor(reader).text("/")


def test_what_is_urgent_stands_there_in_words(visitor, bench):
    old = bench.bottle("citral 5g", expires_on=bench.now.date())
    doubtful = bench.bottle("oakmoss 5g")
    hold_lots(by=bench.by, now=bench.now, lot_ids=[doubtful.pk], why="smells of phenol")
    bench.balance()
    look_after(bench.by.studio_id)
    page = visitor.text("/")
    assert f"Lot {old.number}, citral, expired on 1 March 2026; 5 g are on hand." in page
    assert f"Lot {doubtful.number}, oakmoss, is on hold since 1 March 2026: smells of phenol." in page
    assert "Balance fine was never checked." in page
    assert page.index("Balance fine") > page.index("Soon")


def test_what_was_seen_does_not_call_out_on_the_first_page(visitor, bench):
    bench.bottle("citral 5g")
    bench.balance()
    assert "was never checked" in visitor.text("/")
    [alert] = alerts_of(bench.by.studio)
    assert (
        visitor.client.post(f"/alerts/{alert.pk}/quiet/", {"once": visitor.key("/alerts/")}).status_code
        == 303
    )
    assert "was never checked" not in visitor.text("/")
    assert "Nothing is pressing" in visitor.text("/")
    assert f"was never checked. Seen by {bench.by}" in visitor.text("/alerts/?state=seen")


def test_a_scanned_number_opens_its_lot_and_words_give_a_list(visitor, bench):
    lot = bench.bottle("linalool 5g")
    bench.bottle("linalyl acetate 5g")
    assert (
        visitor.get(f"/find/?q={lot.number.lower().replace('-', '')}")["Location"] == f"/lots/{lot.number}/"
    )
    page = visitor.text("/find/?q=linal")
    assert "linalool" in page
    assert "linalyl acetate" in page
    assert "Nothing here is called “xyz”" in visitor.text("/find/?q=xyz")


def test_a_number_with_a_slip_is_not_opened_but_asked_about(visitor, bench):
    lot = bench.bottle("linalool 5g")
    slipped = lot.number.replace("0001", "0010")
    answer = visitor.get(f"/find/?q={slipped}")
    assert answer.status_code == 200
    assert "Did you mean" in text(answer)
    assert lot.number in text(answer)


def test_the_search_finds_nothing_of_another_studio(visitor, new_studio, at):
    from tests.workbench import Workbench

    Workbench(new_studio(), at).bottle("civetone 5g")
    assert "Nothing here is called" in visitor.text("/find/?q=civetone")


@pytest.mark.parametrize("more", [0, 6])
def test_the_first_page_takes_a_fixed_number_of_statements(visitor, bench, more, django_assert_num_queries):
    bench.balance()
    for place in range(2 + more):
        lot = bench.bottle(f"citral {place + 1}g", expires_on=bench.now.date())
        hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.pk], why="old")
    visitor.get("/")
    with django_assert_num_queries(10):
        visitor.get("/")
    with django_assert_num_queries(7):
        visitor.get("/find/?q=cit")


def test_the_demo_studio_is_loaded_and_removed_by_a_click(visitor, owner, bench, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    assert visitor.client.post("/demo/")["Location"] == "/"
    page = visitor.text("/")
    assert "This is the demo studio" in page
    assert "Batches in hand" in page
    assert visitor.client.post("/you/leave/")["Location"] == "/"
    assert "Three first steps" in visitor.text("/")
    visitor.client.post("/demo/")
    assert "This is the demo studio" in visitor.text("/")
