"""Sealed records, checkpoints and history over the API, and the files one may leave with."""

import csv
import io
import zipfile

import pytest

from studio.actions.history import record
from studio.actions.records import seal_record
from studio.models import HistoryEntry
from tests.conftest import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def sealed(owner, stranger):
    for name in ("B1", "B2"):
        seal_record(by=owner, at=NOW, subject="batch", name=name, record={"is": name})
    return seal_record(by=stranger, at=NOW, subject="batch", name="theirs", record={})


def test_the_records_of_the_studio_are_listed_with_their_seals(api, sealed):
    first, second = api.all("records/")
    assert (first["sequence"], first["name"], first["amends"]) == (1, "B1", None)
    assert second["previous"] == first["seal"]
    assert [row["name"] for row in api.all("records/?name=B2")] == ["B2"]


def test_a_checkpoint_is_made_and_listed_and_who_asked_is_noted(api, owner, sealed):
    made = api.post("checkpoints/", {"why": "before the audit"})
    assert made.status_code == 201
    [listed] = api.all("checkpoints/")
    assert listed == made.json()
    assert listed["code"].startswith("1-")
    assert (
        HistoryEntry.objects.get(studio=owner.studio, verb="checkpoint asked for").why == "before the audit"
    )


def test_a_reader_makes_no_checkpoint(api_of, reader):
    assert api_of(reader).post("checkpoints/").status_code == 403


def files_of(answer):
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/zip")
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))


def test_the_bundle_is_fetched_and_holds_only_ones_own(api, sealed):
    names = files_of(api.get("records/bundle/"))
    assert "verify_bundle.py" in names.namelist()
    assert b"theirs" not in names.read("records.jsonl")


def test_everything_is_for_owners(api, api_of, maker, sealed):
    assert "manifest.json" in files_of(api.get("studio/export/", accept="application/zip")).namelist()
    refused = api_of(maker).get("studio/export/")
    assert refused.status_code == 403
    assert refused.json()["type"] == "/problems/owners-only"


def test_the_history_is_searched_and_fetched_as_a_sheet(api, owner):
    for name, why in (("26-0001-1", "broken seal"), ("26-0002-Z", "=1+1")):
        record(
            by=owner, at=NOW, subject="lot", name=name, verb="held", why=why, changes={"hold": [None, why]}
        )
    assert [row["name"] for row in api.all("history/?search=broken held")] == ["26-0001-1"]
    assert api.all("history/?search=broken nothing") == []
    sheet = api.get("history/?format=csv&subject=lot&ordering=id")
    rows = list(csv.DictReader(io.StringIO(b"".join(sheet.streaming_content).decode("utf-8-sig"))))
    assert [row["why"] for row in rows] == ["broken seal", "'=1+1"]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("path", ["history/", "records/"])
def test_what_was_written_cannot_be_changed_over_the_api(api, method, path):
    assert api.call(method, path, {}, if_match="*").status_code == 405
