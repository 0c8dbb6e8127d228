"""Papers over the API: asked for, followed, fetched; refused as they should be."""

import csv
import hashlib
import io

import pytest

from batches.jobs import make_document
from inventory.calc.lot_codes import LotCode, digital_link, studio_item
from inventory.models import Shelf
from studio.kernel.sheets import restored
from tests.pages import Visitor, text
from tests.papers import codes, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(bench):
    for bottle in ("linalool 50g", "ethanol 50g"):
        bench.bottle(bottle)
    return bench.reserve(bench.plan(bench.formula("hedge", "linalool 1", "ethanol 9"), "10"))


def rows(answer) -> list[dict[str, str]]:
    data = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(data)))


def test_a_ticket_is_asked_for_followed_and_fetched(api, batch):
    asked = api.post(f"batches/{batch.number}/ticket/")
    assert (asked.status_code, asked.json()["state"], asked.json()["progress"]) == (202, "waiting", 0)
    place = asked["Location"]
    early = api.get(f"{place}file/")
    assert (early.status_code, early.json()["type"]) == (409, "/problems/document-not-made")
    make_document(int(asked.json()["id"]))
    told = api.get(place).json()
    assert (told["state"], told["progress"]) == ("made", 100)
    fetched = api.get(f"{place}file/")
    data = b"".join(fetched.streaming_content)
    assert fetched["Content-Type"] == "application/pdf"
    assert fetched["Content-Disposition"] == f'attachment; filename="ticket-{batch.number}-copy-1.pdf"'
    assert hashlib.sha256(data).hexdigest() == told["sha256"]
    assert api.get(f"{place}file/", if_none_match=fetched["ETag"]).status_code == 304
    assert batch.number in words(data)
    again = api.post(f"batches/{batch.number}/ticket/")
    assert (again.status_code, again["Location"]) == (200, place)
    assert api.post(f"batches/{batch.number}/ticket/", {"again": True}).json()["copy"] == 2


def test_a_repeated_request_with_its_key_asks_once(api, batch):
    answers = [api.post(f"batches/{batch.number}/ticket/", {"again": True}, key="k") for _ in range(2)]
    assert [one.json()["copy"] for one in answers] == [1, 1]


def test_labels_of_many_lots_on_a_sheet(api, bench, batch):
    numbers = [bench.bottle("vanillin 1g").number for _ in range(3)]
    sheet = {"columns": 2, "rows": 4, "left_mm": "10", "top_mm": "10", "start": 8}
    asked = api.post("labels/", {"lots": numbers, "width_mm": "60", "height_mm": "40", "sheet": sheet})
    assert asked.status_code == 202
    make_document(int(asked.json()["id"]))
    data = b"".join(api.get(f"{asked['Location']}file/").streaming_content)
    assert len(codes(data)) == 3


def test_labels_that_do_not_fit_say_so_by_field(api, bench):
    lot = bench.bottle("vanillin 1g")
    asked = api.post(
        f"lots/{lot.number}/label/", {"width_mm": "120", "sheet": {"columns": 2, "rows": 1, "start": 3}}
    )
    assert asked.status_code == 400
    assert asked.json()["type"] == "/problems/labels-do-not-fit"
    assert set(asked.json()["errors"]) == {"sheet.columns", "sheet.start"}


def test_the_sheets_say_what_the_lists_say(api, bench, batch):
    lines = api.get(f"batches/{batch.number}/").json()["lines"]
    for row, line in zip(rows(api.get(f"batches/{batch.number}/ticket/")), lines, strict=True):
        assert (row["lot"], row["target"], row["smallest"]) == (line["lot"], line["target"], line["smallest"])
    lot = lines[0]["lot"]
    [label] = rows(api.get(f"lots/{lot}/label/"))
    assert label["code"].endswith(f"/10/{lot}")
    assert rows(api.get(f"lots/{lot}/recall/"))[0]["lot"] == lot


def test_a_cell_that_would_be_a_formula_is_neutralised(api, bench, owner):
    lot = bench.bottle("vanillin 1g", title='=HYPERLINK("http://192.0.2.1")')
    [label] = rows(api.get(f"lots/{lot.number}/label/"))
    assert label["title"].startswith("'=")
    assert restored(label["title"]) == lot.title


def test_a_list_for_counting_is_asked_for(api, bench):
    shelf = api.post("shelves/", {"name": "cold"}).json()
    lot = bench.bottle("vanillin 1g", shelf=Shelf.objects.get(pk=shelf["id"]))
    assert [row["lot"] for row in rows(api.get(f"shelves/{shelf['id']}/count-list/"))] == [lot.number]
    assert api.post(f"shelves/{shelf['id']}/count-list/").status_code == 202


def test_the_sheet_of_a_making_day_is_read_and_asked_for(api, batch):
    changed = api.patch(f"batches/{batch.number}/", {"planned_on": "2026-03-02"})
    assert changed.status_code == 200, changed.json()
    listed = rows(api.get("making-days/2026-03-02/"))
    assert {row["batch"] for row in listed} == {batch.number}
    assert api.get("making-days/2026-02-30/").status_code == 404
    assert api.post("making-days/2026-03-02/").status_code == 202


def test_a_reader_fetches_and_does_not_ask(api, api_of, reader, batch):
    asked = api.post(f"batches/{batch.number}/ticket/").json()
    theirs = api_of(reader)
    assert theirs.get(f"documents/{asked['id']}/").status_code == 200
    assert theirs.get(f"batches/{batch.number}/ticket/").status_code == 200
    assert theirs.post(f"batches/{batch.number}/ticket/").status_code == 403


def test_another_studios_document_is_not_there(api, api_of, stranger, batch):
    asked = api.post(f"batches/{batch.number}/ticket/").json()
    for path in (f"documents/{asked['id']}/", f"documents/{asked['id']}/file/"):
        assert api_of(stranger).get(path).status_code == 404


def test_documents_are_found_by_kind_and_thing(api, batch):
    api.post(f"batches/{batch.number}/ticket/")
    assert [one["name"] for one in api.all(f"documents/?kind=ticket&name={batch.number}")] == [batch.number]
    assert api.all("documents/?kind=recall") == []


def test_a_scanned_label_opens_the_lot_on_the_pages_and_finds_it_in_the_list(api, bench, owner):
    lot = bench.bottle("vanillin 1g")
    code = digital_link("https://elsewhere.example", LotCode(studio_item(owner.studio_id), lot.number))
    visitor = Visitor(owner)
    assert visitor.client.get("/find/", {"q": code})["Location"] == f"/lots/{lot.number}/"
    assert [one["number"] for one in api.get(f"lots/?search={code}").json()["items"]] == [lot.number]
    strange = digital_link("https://elsewhere.example", LotCode(studio_item(owner.studio_id + 1), lot.number))
    assert "Location" not in visitor.client.get("/find/", {"q": strange})


def test_the_pages_print_and_find_again(owner, bench, batch):
    visitor = Visitor(owner)
    at = visitor.client.post(
        f"/batches/{batch.number}/ticket/", {"once": visitor.key(f"/batches/{batch.number}/")}
    )
    assert at.status_code == 303
    page = at["Location"]
    waiting = visitor.get(page)
    assert "waiting to be made" in text(waiting)
    assert 'hx-trigger="every 1s"' in waiting.content.decode()
    make_document(int(page.rstrip("/").rsplit("/", 1)[1]))
    part = visitor.get(page, hx_request="true")
    assert "hx-trigger" not in part.content.decode()
    assert "Open the paper" in text(part)
    opened = visitor.get(f"{page}file/")
    assert batch.number in words(opened.content)
    assert f"Ticket of {batch.number}" in visitor.text("/documents/")


def test_labels_of_chosen_lots_are_printed_from_a_form_that_remembers_the_size(owner, bench):
    lots = [bench.bottle("vanillin 1g").number for _ in range(2)]
    visitor = Visitor(owner)
    form = f"/labels/?lot={lots[0]}&lot={lots[1]}"
    assert lots[1] in visitor.text(form)
    refused = visitor.send(form, lots="nonsense", width_mm="50", height_mm="25")
    assert refused.status_code == 422
    assert "is no lot number" in text(refused)
    sent = visitor.send(form, lots="\n".join(lots), width_mm="50", height_mm="25")
    assert sent.status_code == 303
    assert 'value="50"' in visitor.get(form).content.decode()


def test_a_count_list_and_a_recall_are_asked_for_on_the_pages(owner, bench, api):
    shelf = api.post("shelves/", {"name": "cold"}).json()
    lot = bench.bottle("vanillin 1g")
    visitor = Visitor(owner)
    assert "List for counting" in visitor.text("/places/")
    assert "Recall report" in visitor.text(f"/lots/{lot.number}/")
    key = visitor.key("/places/")
    assert visitor.client.post(f"/places/{shelf['id']}/count-list/", {"once": key}).status_code == 303
    key = visitor.key(f"/lots/{lot.number}/")
    assert visitor.client.post(f"/lots/{lot.number}/recall/", {"once": key}).status_code == 303


def test_the_sheet_of_a_day_is_printed_from_its_page(owner, bench):
    visitor = Visitor(owner)
    key = visitor.key("/remakes/day/?day=2026-03-02")
    asked = visitor.client.post("/remakes/day/2026-03-02/print/", {"once": key})
    assert asked.status_code == 303
    assert "To make on 2026-03-02" in visitor.text(asked.url)
    assert visitor.client.get("/remakes/day/csv/?day=2026-03-02").content.decode().startswith("\ufeffbatch,")
