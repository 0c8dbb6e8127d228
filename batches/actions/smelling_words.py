"""The studio's own words for smells: they grow as they are said, and are renamed and merged without touching a note.

A note keeps how a word was called when it was said; what the word is called today is looked up through the list. So a
rename or a merge changes what is counted together, never what was written down.
"""

from collections.abc import Sequence
from datetime import datetime

from batches.calc.smelling import tidy_word, word_key
from batches.models import SmellingWord
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults
from studio.kernel.work import work
from studio.models import Member

LONGEST_WORD = 60


class WordTaken(Conflict):
    """Another word of the list is called so."""

    code = "word-taken"
    title = "There is such a word"


class WordMerged(Conflict):
    """The word was merged into another and only leads there."""

    code = "word-merged"
    title = "Merged before"


class SameWord(Conflict):
    """A word cannot be merged into itself."""

    code = "same-word"
    title = "That is one word"


def add_word(*, by: Member, now: datetime, text: str) -> SmellingWord:
    """Put a word on the list before anybody says it. Raises `Invalid`, `WordTaken`."""
    with work():
        _check(text)
        word, made = _found_or_made(by, now, tidy_word(text))
        if not made:
            raise WordTaken(f"“{word.now.text}” is on the list already.", word=str(word.now.pk))
    return word


def words_said(*, by: Member, now: datetime, texts: Sequence[str]) -> list[tuple[SmellingWord, str]]:
    """The words for what was said, each once, with how it was said; new ones are added. Inside the work of a note."""
    found: dict[int, tuple[SmellingWord, str]] = {}
    for text in texts:
        word = _found_or_made(by, now, tidy_word(text))[0]
        found.setdefault(word.now.pk, (word, tidy_word(text)))
    return list(found.values())


def rename_word(*, by: Member, now: datetime, word_id: int, text: str) -> SmellingWord:
    """Call a word otherwise from now on. Raises `Invalid`, `WordMerged`, `WordTaken` (merge them instead)."""
    with work():
        word = _locked(by, [word_id])[word_id]
        _refuse_merged(word)
        _check(text)
        text, before = tidy_word(text), word.text
        other = SmellingWord.objects.of(by.studio_id).filter(key=word_key(text)).exclude(pk=word.pk).first()
        if other is not None:
            raise WordTaken(
                f"“{other.text}” is on the list already; merge “{before}” into it if they mean the same.",
                word=str(other.now.pk),
            )
        word.text, word.key = text, word_key(text)
        word.save(update_fields=["text", "key"])
        changes = {"text": [before, text]}
        record(by=by, at=now, subject="smelling word", name=str(word.pk), verb="renamed", changes=changes)
    return word


def merge_words(*, by: Member, now: datetime, word_id: int, into_id: int) -> SmellingWord:
    """Count a word, and all that was merged into it, as another from now on. Raises `SameWord`, `WordMerged`."""
    if word_id == into_id:
        raise SameWord("A word cannot be merged into itself; choose another one.")
    with work():
        words = _locked(by, [word_id, into_id])
        word, into = words[word_id], words[into_id]
        _refuse_merged(word)
        _refuse_merged(into)
        led = SmellingWord.objects.of(by.studio_id).filter(merged_into=word)
        led.update(merged_into=into)
        word.merged_into = into
        word.save(update_fields=["merged_into"])
        changes = {"merged into": [None, into.text]}
        record(
            by=by,
            at=now,
            subject="smelling word",
            name=str(word.pk),
            verb=f"“{word.text}” merged",
            changes=changes,
        )
    return word


def _found_or_made(by: Member, now: datetime, text: str) -> tuple[SmellingWord, bool]:
    rows = SmellingWord.objects.select_related("merged_into")
    return rows.get_or_create(
        studio_id=by.studio_id, key=word_key(text), defaults={"text": text, "by": by, "at": now}
    )


def _locked(by: Member, ids: Sequence[int]) -> dict[int, SmellingWord]:
    rows = SmellingWord.objects.select_for_update(no_key=True, of=("self",)).of(by.studio_id)
    found = {word.pk: word for word in rows.filter(pk__in=ids).select_related("merged_into").order_by("id")}
    for one in ids:
        if one not in found:
            SmellingWord.objects.one(by.studio_id, "smelling word", id=one)
    return found


def _refuse_merged(word: SmellingWord) -> None:
    if word.merged_into is not None:
        raise WordMerged(f"“{word.text}” was merged into “{word.merged_into.text}”; work on that one.")


def _check(text: str) -> None:
    faults = Faults()
    if not tidy_word(text):
        faults.add("text", "Give a word.")
    if len(tidy_word(text)) > LONGEST_WORD:
        faults.add("text", f"A word has at most {LONGEST_WORD} characters.")
    faults.refuse_if_any()
