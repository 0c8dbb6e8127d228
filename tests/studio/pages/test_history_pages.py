"""What changed, on a page of its own and as part of others; the page of the records."""

import pytest

from studio.actions.history import record
from studio.actions.records import seal_record
from studio.queries.history import history_of_thing
from tests.conftest import NOW
from tests.pages import Visitor

pytestmark = pytest.mark.django_db


@pytest.fixture
def noted(owner, stranger):
    def note(name, verb, changes):
        record(by=owner, at=NOW, subject="material", name=name, verb=verb, changes=changes)

    note("linalol", "added", {})
    note("linalol", "changed", {"name": ["linalol", "linalool"]})
    note("linalool", "changed", {"cas": [None, "78-70-6"], "par": ["2", "3"]})
    record(by=stranger, at=NOW, subject="material", name="linalool", verb="theirs")


def test_the_page_says_who_changed_what_from_what_to_what(owner, noted):
    said = Visitor(owner).text("/history/")
    assert "cas: nothing → 78-70-6" in said
    assert "par: 2 → 3" in said
    assert owner.person.name in said
    assert "theirs" not in said


def test_the_page_is_narrowed(owner, noted):
    visitor = Visitor(owner)
    assert "Entries 1 to 2" in visitor.text("/history/?subject=material&name=linalol")
    assert "Nothing of the sort" in visitor.text("/history/?search=linalool%20held")
    assert "Nothing of the sort" in visitor.text("/history/?before=2026-02-28")
    assert "Entries 1 to 3" in visitor.text("/history/?since=2026-03-01&subject=material")


def test_a_thing_is_followed_through_its_names(owner, noted):
    rows = history_of_thing(studio=owner.studio, subject="material", name="linalool")
    assert [(row.name, row.verb) for row in rows] == [
        ("linalool", "changed"),
        ("linalol", "changed"),
        ("linalol", "added"),
    ]
    said = Visitor(owner).text("/history/changes/?subject=material&name=linalool")
    assert "name: linalol → linalool" in said
    assert "Nothing is noted" in Visitor(owner).text("/history/changes/?subject=lot&name=x%00")


def test_the_sheet_is_of_what_is_shown(owner, noted):
    visitor = Visitor(owner)
    page = visitor.get("/history/?subject=material&name=linalol&since=2026-03-01").content.decode()
    address = page.split('href="/api/v1/history/')[1].split('"')[0].replace("&amp;", "&")
    sheet = visitor.get(f"/api/v1/history/{address}")
    assert b"".join(sheet.streaming_content).decode().count("linalol,") == 2


def test_the_records_are_shown_with_their_checkpoints_and_a_code_is_looked_for(owner):
    seal_record(by=owner, at=NOW, subject="batch", name="B26-0001-9", record={})
    visitor = Visitor(owner)
    said = visitor.client.post("/records/checkpoint/", {"once": visitor.key("/records/")})
    assert said.status_code == 303
    said = visitor.text("/records/")
    code = said.split("Checkpoint ")[1].split(" ")[0]
    assert "is a checkpoint of this studio" in visitor.text(f"/records/?code={code.lower()}")
    assert "is no checkpoint of this studio" in visitor.text("/records/?code=1-AAAA-BBBB-CCCC-DDDD")


def test_what_may_be_taken_along_depends_on_the_role(owner, maker):
    assert Visitor(owner).get("/records/everything/")["Content-Type"] == "application/zip"
    assert Visitor(maker).get("/records/everything/").status_code == 403
    assert Visitor(maker).get("/records/bundle/")["Content-Type"] == "application/zip"
    assert "JSON lines" not in Visitor(maker).text("/records/")
