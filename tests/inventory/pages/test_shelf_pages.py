"""The pages of the shelf: finding, receiving, and what can be done to a lot."""

from decimal import Decimal

import pytest

from inventory.calc.lot_codes import LotCode, digital_link, studio_item
from inventory.models import Lot
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def visitor(owner):
    return Visitor(owner)


@pytest.fixture
def lot(bench):
    return bench.bottle("linalool 10g", tare=Decimal("12.5"))


def test_the_shelf_is_narrowed_by_words_numbers_in_any_spelling_and_state(visitor, bench):
    linalool, citral = bench.bottle("linalool 10g"), bench.bottle("citral 5g")
    assert citral.number in visitor.text("/shelf/")
    for asked in ("LINAL", linalool.number, linalool.number.replace("-", " ").lower()):
        page = visitor.client.get("/shelf/", {"q": asked})
        assert linalool.number in text(page)
        assert citral.number not in text(page)
    assert "No lot fits" in visitor.text("/shelf/?state=held")


def test_a_live_part_of_the_shelf_is_the_list_alone(visitor, lot):
    answer = visitor.get("/shelf/?q=lin", **{"HX-Request": "true"})
    assert lot.number in text(answer)
    assert "<html" not in answer.content.decode()
    assert "HX-Request" in answer["Vary"]


def test_what_the_filters_do_not_understand_narrows_nothing(visitor, lot):
    page = visitor.text("/shelf/?state=nonsense&kind=%00&sort=1&page=-3&q=")
    assert lot.number in page


def test_a_bottle_is_received_with_strength_in_percent(visitor, bench):
    bench.material("linalool")
    bench.material("ethanol")
    page = visitor.send_and_follow(
        "/shelf/receive/", material="Linalool", mass="2.5", strength="10", solvent="ethanol"
    )
    assert "linalool is on the shelf as lot" in page
    assert "2.500 g available" in page
    assert "10 % in ethanol" in page


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"mass": "2,5"}, "Use a point, not a comma."),
        ({"mass": "0"}, "must be more than zero"),
        ({"mass": "1.2345678"}, "finer than a microgram"),
        ({"mass": "5", "strength": "110"}, "goes up to 100"),
        ({"mass": "5", "strength": "10"}, "needs the solvent"),
        ({"mass": "5", "material": "nothing"}, "There is no material “nothing” here."),
        ({"mass": "5", "expires_on": "31.3.2026"}, "Give a day as 2026-03-31."),
        ({}, "This is needed."),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(visitor, bench, values, sentence):
    bench.material("linalool")
    answer = visitor.send("/shelf/receive/", **{"material": "linalool", **values})
    assert answer.status_code == 422
    assert sentence in text(answer)
    assert not Lot.objects.of(bench.by.studio).exists()


def test_a_lot_shows_its_number_contents_cautions_and_past(visitor, bench):
    bench.material("linalool", hazards=["H317"])
    bench.bottle("linalool 5g")
    bench.bottle("ethanol 50g")
    lot = bench.stock("linalool@10%/ethanol 10g")
    page = visitor.text(f"/lots/{lot.number}/")
    assert "10.000 g available" in page
    assert "10.000 %" in page
    assert "May cause an allergic skin reaction" in page
    assert "not a safety assessment" in page
    assert "weighed in from linalool" in page


def test_a_vial_is_drawn_off_and_more_than_there_is_is_refused(visitor, lot):
    refused = visitor.send(f"/lots/{lot.number}/draw-off/", mass="11", kind="vial")
    assert refused.status_code == 422
    assert "has 10 g available" in text(refused)
    page = visitor.send_and_follow(f"/lots/{lot.number}/draw-off/", mass="1.5", kind="vial")
    assert "1.500 g available" in page
    assert "8.500 g available" in visitor.text(f"/lots/{lot.number}/")


def test_an_expired_lot_is_drawn_off_only_with_a_reason(visitor, bench):
    lot = bench.bottle("citral 5g", expires_on=bench.now.date())
    page = f"/lots/{lot.number}/draw-off/"
    assert "Why, though it has expired" in visitor.text(page)
    assert visitor.send(page, mass="1", kind="vial").status_code == 422
    assert visitor.send(page, mass="1", kind="vial", expired_reason="only to compare").status_code == 303


def test_a_lot_is_counted(visitor, lot):
    page = visitor.send_and_follow(f"/lots/{lot.number}/count/", gross="21.5", tare="12.5", loss="spilled")
    assert "9.000 g are there, 1.000 g less than the book said." in page


def test_some_of_a_lot_is_discarded_and_then_all_of_it(visitor, lot):
    assert "6.000 g are left" in visitor.send_and_follow(f"/lots/{lot.number}/discard/", mass="4", why="old")
    assert "emptied" in visitor.send_and_follow(f"/lots/{lot.number}/discard/", why="old")


def test_a_lot_is_held_with_what_was_made_of_it_and_released(visitor, bench, lot):
    visitor.send(f"/lots/{lot.number}/draw-off/", mass="1", kind="vial")
    page = visitor.send_and_follow(f"/lots/{lot.number}/hold/", why="smells off", descendants="on")
    assert "and 1 made of it is on hold" in page
    assert Lot.objects.of(bench.by.studio).filter(held_at__isnull=False).count() == 2
    assert "may be used again" in visitor.send_and_follow(
        f"/lots/{lot.number}/release/", why="it was the cap"
    )


def test_a_lot_is_moved_to_a_shelf_of_the_studio_and_to_no_other(visitor, lot, bench, stranger):
    from inventory.actions.places import add_shelf

    mine = add_shelf(by=bench.by, now=bench.now, name="Cabinet")
    theirs = add_shelf(by=stranger, now=bench.now, name="Theirs")
    page = f"/lots/{lot.number}/move/"
    assert visitor.send(page, shelf=theirs.pk, title="linalool").status_code == 422
    assert "Stands Cabinet" in visitor.send_and_follow(page, shelf=mine.pk, title="linalool")


def test_the_lot_of_another_studio_is_not_there(visitor, new_studio, at):
    from tests.workbench import Workbench

    theirs = Workbench(new_studio(), at).bottle("linalool 5g")
    paths = ["", "trace/", "draw-off/", "count/", "discard/", "hold/", "release/", "move/"]
    missing = {visitor.get(f"/lots/{theirs.number}/{path}").status_code for path in paths}
    assert missing == {404}


def test_a_reader_sees_everything_and_changes_nothing(reader, lot):
    visitor = Visitor(reader)
    page = visitor.text(f"/lots/{lot.number}/")
    assert "Draw off" not in page
    for path in (f"/lots/{lot.number}/draw-off/", "/shelf/receive/", "/materials/new/", "/balances/new/"):
        assert visitor.get(path).status_code == 403
        assert visitor.client.post(path, {}).status_code == 403


def test_a_session_that_ended_sends_a_live_part_to_the_sign_in_page(client):
    answer = client.get("/shelf/", headers={"HX-Request": "true"})
    assert (answer.status_code, answer["HX-Redirect"]) == (204, "/sign-in/")


@pytest.mark.parametrize("more", [0, 30])
def test_pages_take_a_fixed_number_of_statements(visitor, bench, lot, more, django_assert_num_queries):
    for place in range(more):
        bench.bottle(f"linalool {place + 1}g")
    counts = {
        "/shelf/": 4,
        f"/lots/{lot.number}/": 12,
        f"/lots/{lot.number}/trace/": 6,
        "/materials/": 4,
        f"/materials/{lot.material_id}/": 9,
        "/balances/": 4,
        "/shelf/receive/": 6,
    }
    visitor.get("/shelf/")
    for path, statements in counts.items():
        with django_assert_num_queries(statements):
            assert visitor.get(path).status_code == 200


def test_the_address_on_a_label_leads_to_the_lot(visitor, lot, stranger):
    address = digital_link("", LotCode(studio_item(lot.studio_id), lot.number, None))
    assert visitor.get(address)["Location"] == f"/lots/{lot.number}/"
    theirs = digital_link("", LotCode(studio_item(stranger.studio_id), lot.number, None))
    assert visitor.get(theirs).status_code == 404
