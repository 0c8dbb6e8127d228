"""Smelling: the strip's clock, notes that stay, words that keep their meaning, and vials that are smelled blind."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from batches.actions.blind_smelling import (
    KnowsTheCodes,
    NoSuchCode,
    NotYourSet,
    SetOnHold,
    SetRevealed,
    reveal_blind,
    set_up_blind,
)
from batches.actions.smelling import (
    HeldLot,
    NoteCorrected,
    NotYourNote,
    NotYourStrip,
    Said,
    StripEnded,
    UnderCode,
    correct_smelling,
    dip,
    end_strip,
    note_smelling,
)
from batches.actions.smelling_words import WordMerged, WordTaken, merge_words, rename_word
from batches.models import BlindVial, SmellingWord
from batches.queries.smelling import saying, smellings_of
from inventory.actions.holding import hold_lots
from studio.kernel.errors import Invalid
from studio.models import HistoryEntry
from tests.conftest import NOW
from tests.workbench import Workbench


def later(minutes: float) -> Any:
    return NOW + timedelta(minutes=minutes)


def words(bench: Workbench) -> dict[str, SmellingWord]:
    return {word.text: word for word in SmellingWord.objects.of(bench.by.studio).order_by("id")}


def test_the_clock_of_the_strip_tells_the_minutes(bench: Workbench) -> None:
    strip = dip(by=bench.by, now=NOW, into=bench.bottle("linalool 5g"), remind_minutes=[60, 15, 15])
    assert strip.remind_minutes == [15, 60]
    note = note_smelling(by=bench.by, now=later(15.5), on=strip.pk, said=Said(liking=7))
    assert (note.lot_id, note.minutes) == (strip.lot_id, Decimal("15.5"))
    typed_in = note_smelling(by=bench.by, now=later(90), at=later(60), on=strip.pk, said=Said(liking=6))
    assert typed_in.minutes == 60


def test_a_strip_is_read_by_who_dipped_it_until_it_is_thrown_away(bench: Workbench, maker: Any) -> None:
    strip = dip(by=bench.by, now=NOW, into=bench.bottle("linalool 5g"))
    with pytest.raises(NotYourStrip):
        note_smelling(by=maker, now=NOW, on=strip.pk, said=Said(liking=7))
    end_strip(by=bench.by, now=later(1), strip_id=strip.pk)
    with pytest.raises(StripEnded):
        note_smelling(by=bench.by, now=later(2), on=strip.pk, said=Said(liking=7))


def test_a_note_that_cannot_be_is_told_all_that_is_wrong_with_it(bench: Workbench) -> None:
    strip = dip(by=bench.by, now=NOW, into=bench.bottle("linalool 5g"))
    said = Said(intensity=Decimal(11), liking=10, words=[" "])
    with pytest.raises(Invalid) as refused:
        note_smelling(by=bench.by, now=later(1), at=later(-1), on=strip.pk, said=said, minutes=Decimal(3))
    assert set(refused.value.errors) == {"intensity", "liking", "words", "at", "minutes"}
    with pytest.raises(Invalid, match="says something"):
        note_smelling(by=bench.by, now=NOW, on=strip.pk, said=Said())


def test_a_lot_on_hold_is_not_smelled(bench: Workbench) -> None:
    lot = bench.bottle("linalool 5g")
    strip = dip(by=bench.by, now=NOW, into=lot)
    hold_lots(by=bench.by, now=NOW, lot_ids=[lot.pk], why="cloudy")
    lot.refresh_from_db()
    for on in (lot, strip.pk):
        with pytest.raises(HeldLot, match="cloudy"):
            note_smelling(by=bench.by, now=NOW, on=on, said=Said(liking=7))


def test_a_strip_from_a_set_that_was_revealed_stops_too_when_its_lot_is_put_on_hold(
    bench: Workbench, maker: Any
) -> None:
    lots = [bench.bottle("linalool 5g"), bench.bottle("citral 5g")]
    blind = set_up_blind(by=bench.by, now=NOW, title="two", lots=lots)
    code = blind.vials.get(lot=lots[0]).code
    strip = dip(by=maker, now=NOW, into=UnderCode(set_id=blind.pk, code=code))
    reveal_blind(by=bench.by, now=NOW, set_id=blind.pk)
    hold_lots(by=bench.by, now=NOW, lot_ids=[lots[0].pk], why="cloudy")
    with pytest.raises(HeldLot, match="cloudy"):
        note_smelling(by=maker, now=NOW, on=strip.pk, said=Said(liking=7))


def test_a_correction_keeps_the_earlier_note(bench: Workbench, maker: Any) -> None:
    lot = bench.bottle("linalool 5g")
    first = note_smelling(by=bench.by, now=NOW, on=lot, said=Said(liking=2), minutes=Decimal(4))
    with pytest.raises(NotYourNote):
        correct_smelling(by=maker, now=NOW, smelling_id=first.pk, said=Said(liking=8))
    second = correct_smelling(by=bench.by, now=later(9), smelling_id=first.pk, said=Said(liking=8))
    assert (second.at, second.minutes, second.corrects_id) == (NOW, Decimal(4), first.pk)
    with pytest.raises(NoteCorrected):
        correct_smelling(by=bench.by, now=NOW, smelling_id=first.pk, said=Said(liking=9))
    rows = smellings_of(bench.by)
    assert [note.liking for note in rows.order_by("id")] == [2, 8]
    assert [note.liking for note in rows.standing()] == [8]


def test_words_are_renamed_and_merged_while_notes_keep_what_was_said(bench: Workbench) -> None:
    lot = bench.bottle("linalool 5g")
    note = note_smelling(by=bench.by, now=NOW, on=lot, said=Said(words=["Rosy", "leafy", " rosy "]))
    note_smelling(by=bench.by, now=NOW, on=lot, said=Said(words=["green"]))
    found = words(bench)
    assert list(found) == ["Rosy", "leafy", "green"]
    with pytest.raises(WordTaken, match="merge"):
        rename_word(by=bench.by, now=NOW, word_id=found["leafy"].pk, text="GREEN")
    rename_word(by=bench.by, now=NOW, word_id=found["Rosy"].pk, text="rose-like")
    merge_words(by=bench.by, now=NOW, word_id=found["leafy"].pk, into_id=found["green"].pk)
    merge_words(by=bench.by, now=NOW, word_id=found["green"].pk, into_id=found["Rosy"].pk)
    with pytest.raises(WordMerged):
        merge_words(by=bench.by, now=NOW, word_id=found["leafy"].pk, into_id=found["green"].pk)
    shown = smellings_of(bench.by).get(pk=note.pk)
    assert (shown.words, shown.words_said) == (["rose-like"], ["Rosy", "leafy"])
    assert smellings_of(bench.by).filter(saying(found["Rosy"].pk)).count() == 2
    again = note_smelling(by=bench.by, now=NOW, on=lot, said=Said(words=["LEAFY", "rose-like"]))
    assert smellings_of(bench.by).get(pk=again.pk).words == ["rose-like"]
    told = HistoryEntry.objects.filter(studio=bench.by.studio, subject="smelling word").order_by("id")
    assert [entry.verb for entry in told] == ["renamed", "“leafy” merged", "“green” merged"]


def test_a_blind_set_is_smelled_by_others_until_it_is_revealed(bench: Workbench, maker: Any) -> None:
    lots = [bench.bottle(text) for text in ("linalool 5g", "geraniol 5g")]
    blind = set_up_blind(by=bench.by, now=NOW, title="Afternoon", lots=lots)
    vial = BlindVial.objects.filter(blind_set=blind).order_by("code")[0]
    under = UnderCode(set_id=blind.pk, code=vial.code)
    with pytest.raises(KnowsTheCodes):
        note_smelling(by=bench.by, now=NOW, on=under, said=Said(liking=7))
    with pytest.raises(NoSuchCode):
        note_smelling(by=maker, now=NOW, on=UnderCode(set_id=blind.pk, code=99), said=Said(liking=7))
    strip = dip(by=maker, now=NOW, into=under)
    note_smelling(by=maker, now=NOW, on=strip.pk, said=Said(liking=7))
    with pytest.raises(NotYourSet):
        reveal_blind(by=maker, now=NOW, set_id=blind.pk)
    reveal_blind(by=bench.by, now=later(30), set_id=blind.pk)
    with pytest.raises(SetRevealed):
        note_smelling(by=maker, now=later(31), on=under, said=Said(liking=7))
    knowing = note_smelling(by=maker, now=later(31), on=strip.pk, said=Said(liking=4))
    assert (knowing.lot_id, knowing.blind_id) == (vial.lot_id, None)
    assert [note.told_lot for note in smellings_of(maker).order_by("id")] == [vial.lot.number] * 2


def test_a_held_lot_stops_all_codes_alike(bench: Workbench, maker: Any) -> None:
    lots = [bench.bottle(text) for text in ("linalool 5g", "geraniol 5g")]
    blind = set_up_blind(by=bench.by, now=NOW, title="Afternoon", lots=lots)
    hold_lots(by=bench.by, now=NOW, lot_ids=[lots[0].pk], why="cloudy")
    said = set()
    for vial in BlindVial.objects.filter(blind_set=blind):
        with pytest.raises(SetOnHold) as refused:
            note_smelling(
                by=maker, now=NOW, on=UnderCode(set_id=blind.pk, code=vial.code), said=Said(liking=7)
            )
        said.add(refused.value.message)
    assert len(said) == 1
