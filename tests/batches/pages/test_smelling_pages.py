"""The pages of smelling: dip, note, compare, and keep to oneself what a code hides."""

import re
from typing import Any

import pytest

from batches.actions.smelling import Said, note_smelling
from batches.models import BlindVial, Smelling, Strip
from tests.conftest import NOW
from tests.pages import Visitor, text
from tests.workbench import Workbench


@pytest.fixture
def visitor(bench: Workbench) -> Visitor:
    return Visitor(bench.by)


def test_a_strip_is_dipped_and_noted(bench: Workbench, visitor: Visitor) -> None:
    lot = bench.bottle("linalool 5g")
    assert "Did you mean" in text(
        visitor.send("/smelling/dip/", lot=f"{lot.number[:-1]}{'0' if lot.number[-1] != '0' else '1'}")
    )
    shown = visitor.send_and_follow("/smelling/dip/", lot=lot.number, remind_minutes="15, 60")
    strip = Strip.objects.get(lot=lot)
    assert strip.remind_minutes == [15, 60]
    assert "since dipping" in shown
    assert "never from the bottle" in shown
    where = f"/smelling/strips/{strip.pk}/"
    assert "says something" in text(visitor.send(where, scale="plain"))
    said = {"scale": "plain", "intensity": "7", "liking": "8", "words": "floral, citrus", "colour": "yellow"}
    assert "floral, citrus" in visitor.send_and_follow(where, **said)
    note = Smelling.objects.get(lot=lot)
    assert (note.intensity, note.liking, note.scale) == (7, 8, "plain")
    assert "0 min" in visitor.text("/smelling/")
    where = f"/smelling/notes/{note.pk}/correct/"
    assert 'value="7"' in visitor.get(where).content.decode()
    visitor.send_and_follow(where, **{**said, "liking": "3"})
    assert "corrected later" in visitor.text(f"/smelling/lots/{lot.number}/")
    assert "<svg" in visitor.get(f"/smelling/lots/{lot.number}/").content.decode()


def test_a_code_hides_its_lot_on_every_page_of_smelling(bench: Workbench, maker: Any) -> None:
    bench.material("linalool", hazards=["H317"])
    lots = [bench.bottle(name) for name in ("linalool 5g", "geraniol 5g")]
    owner, nose = Visitor(bench.by), Visitor(maker)
    answer = owner.send("/smelling/blind/", title="Afternoon", lots="\n".join(lot.number for lot in lots))
    where = answer["Location"]
    assert all(lot.number in owner.text(where) for lot in lots)
    vial = BlindVial.objects.order_by("code")[0]
    strip_page = nose.send(where, code=str(vial.code))["Location"]
    nose.send(strip_page, scale="plain", intensity="4", words="murky")
    for page in (where, strip_page, "/smelling/", "/smelling/together/", "/"):
        shown = nose.get(page).content.decode()
        assert not any(lot.number in shown for lot in lots), page
        assert "linalool" not in shown, page
    assert "H317" in nose.text(where)
    assert "H317" in nose.text(strip_page)
    assert "murky" not in nose.text(f"/smelling/lots/{vial.lot.number}/")
    owner.client.post(f"{where}reveal/", {"once": owner.key(where)})
    assert vial.lot.number in nose.text(where)
    assert "murky" in nose.text(f"/smelling/lots/{vial.lot.number}/")


def test_what_goes_with_what_never_stands_without_its_count(
    bench: Workbench, maker: Any, api_of: Any
) -> None:
    bench.bottle("linalool 50g")
    bench.bottle("ethanol 500g")
    bench.stock("linalool@10% 40g")
    bench.bottle("vanillin 50g")
    bench.stock("vanillin@10% 40g")
    pair = bench.make(bench.formula("pair", "linalool@10% 5", "vanillin@10% 5"), "4")
    for by, liking, words in ((bench.by, 8, ["soft"]), (maker, 5, ["soft", "sweet"])):
        note_smelling(by=by, now=NOW, on=pair, said=Said(liking=liking, words=words))
    note_smelling(by=maker, now=NOW, on=pair, said=Said(text="no figure"))
    told = {
        "material": "linalool",
        "other_material": "vanillin",
        "vials": 1,
        "notes": 3,
        "noses": 2,
        "liking": {"value": "6.5", "count": 2},
        "words": [{"word": "soft", "count": 2}, {"word": "sweet", "count": 1}],
    }
    assert api_of(maker).get("pairings/").json()["items"] == [told]
    visitor = Visitor(maker)
    assert re.search(
        r"linalool and vanillin 1 3 2 6.5 of 9, 2 notes soft 2 , sweet 1", visitor.text("/smelling/together/")
    )
    sheet = visitor.get("/smelling/together/csv/").content.decode()
    assert 'linalool,vanillin,1,3,2,6.5,2,"soft (2), sweet (1)"' in sheet
    assert "Notes 3 of 2 noses" in visitor.text("/smelling/compare/pair/")


def test_words_are_renamed_and_merged_on_their_page(bench: Workbench, visitor: Visitor) -> None:
    lot = bench.bottle("linalool 5g")
    note = note_smelling(by=bench.by, now=NOW, on=lot, said=Said(words=["rosy", "leafy"]))
    rosy, leafy = (one.word_id for one in note.said.order_by("position"))
    shown = visitor.send_and_follow(f"/smelling/words/{rosy}/rename/", text="rose-like")
    assert "rose-like" in shown
    shown = visitor.send_and_follow(f"/smelling/words/{leafy}/merge/", into=str(rosy))
    assert "counts as rose-like" in shown
