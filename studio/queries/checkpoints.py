"""Proving records and ledger against the checkpoints: what a chain cannot show of itself.

A checkpoint is believed when its text is signed with a key of this installation. Those in the database are compared
with those in the file outside, so that neither can lose one unnoticed; then every seal and every block of rows that
a checkpoint tells is hashed anew, table by table, in one pass and in bounded memory.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from studio.kernel.checkpoint_files import KeptCheckpoint, file_of, kept_checkpoints
from studio.kernel.checkpoints import (
    NOTHING_BEFORE,
    Block,
    block_from,
    block_of,
    digest_of,
    row_digest,
    short_code,
    utc_text,
)
from studio.kernel.signing_key import known_keys, signed_by
from studio.models import Checkpoint, SealedRecord, Studio
from studio.models.settled_rows import settled_rows


@dataclass(frozen=True, slots=True)
class BrokenCheckpoint:
    """Something that a checkpoint shows not to hold: by which one, where, and a sentence saying what."""

    number: int
    where: str
    sentence: str


@dataclass(frozen=True, slots=True)
class _Expected:
    """A block as a checkpoint tells it: the rows of a table with ids above `after`."""

    number: int
    after: int
    columns: tuple[str, ...]
    block: Block


def checkpoints_of(studio: Studio) -> QuerySet[Checkpoint]:
    """All checkpoints of a studio."""
    return Checkpoint.objects.of(studio)


def latest_checkpoint(studio: Studio) -> Checkpoint | None:
    """The newest checkpoint, whose `code` and `at` are printed on papers; None while there is none. One statement."""
    return Checkpoint.objects.of(studio).order_by("number").last()


def checkpoint_called(studio: Studio, code: str) -> Checkpoint | None:
    """The checkpoint that a code on a paper names, written in any case; None when there is none such."""
    number, _, _ = code.strip().partition("-")
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        return None
    found = Checkpoint.objects.of(studio).filter(number=int(number)).first()
    return found if found is not None and found.code == code.strip().upper() else None


def studios_without_checkpoint(*, since: datetime) -> QuerySet[Studio]:
    """The studios that have none since then, by key."""
    recent = Checkpoint.objects.filter(at__gt=since).values("studio")
    return Studio.objects.exclude(pk__in=recent).order_by("id")


def checkpoint_letter(checkpoints: Sequence[Checkpoint]) -> str:
    """What is mailed of new checkpoints: enough to show later that they were what they are."""
    told = "\n\n".join(
        f"{one.studio}: {one.code}\nmade {utc_text(one.at)}\nSHA-256 {one.digest}\nsignature {one.signature}\nkey {one.key}"
        for one in checkpoints
    )
    return (
        "Keep this letter: it shows that the records up to these checkpoints were not altered since.\n"
        "To compare one: manage.py verify --checkpoint CODE.\n\n" + told + "\n"
    )


def broken_checkpoints(studio: Studio) -> Iterator[BrokenCheckpoint]:
    """Everything of `studio` that does not hold by its checkpoints, in order; nothing when all is well."""
    told: list[dict[str, Any]] = []
    keys = set(known_keys())
    kept = _in_the_file(studio)
    if isinstance(kept, BrokenCheckpoint):
        yield kept
        kept = {}
    number, previous = 0, NOTHING_BEFORE
    for row in Checkpoint.objects.of(studio).order_by("number").iterator(chunk_size=50):
        if row.number != number + 1:
            yield _gone(number + 1, row.number - 1)
        number = row.number
        fault = _own_fault(row, kept.pop(row.number, None), keys)
        says = row.told() if fault is None else None
        if (
            says is not None
            and told
            and says["previous"] != previous
            and row.number == told[-1]["number"] + 1
        ):
            fault = "does not follow the checkpoint before it"
        if fault is not None:
            yield BrokenCheckpoint(row.number, f"checkpoint {row.number}", fault)
        if says is not None:
            told.append(says)
        previous = row.digest
    for one in kept.values():
        yield BrokenCheckpoint(
            one.number,
            f"checkpoint {one.number}",
            f"{short_code(one.number, digest_of(one.text))} stands in {file_of(studio.pk).name} and not in the database: "
            "its end was cut off, or it was restored from an earlier backup",
        )
    yield from _broken_records(studio, told)
    yield from _broken_rows(studio, told)


def _in_the_file(studio: Studio) -> dict[int, KeptCheckpoint] | BrokenCheckpoint:
    """The lines of the studio's file by number. A number that stands there twice is no file of ours."""
    try:
        lines = list(kept_checkpoints(studio.pk))
    except (ValueError, OSError):
        lines = None
    if lines is None or [one.number for one in lines] != sorted({one.number for one in lines}):
        return BrokenCheckpoint(0, file_of(studio.pk).name, "is not a list of checkpoints as it was written")
    return {one.number: one for one in lines}


def _gone(first: int, last: int) -> BrokenCheckpoint:
    named = f"{first}" if first == last else f"{first} to {last}"
    return BrokenCheckpoint(first, f"checkpoint {named}", "is missing in the database")


def _own_fault(row: Checkpoint, kept: KeptCheckpoint | None, keys: set[str]) -> str | None:
    """What is wrong with a checkpoint in itself, or None."""
    if digest_of(row.text) != row.digest or not signed_by(row.text, row.signature, row.key):
        return "is not as it was signed"
    if row.key not in keys:
        return "is signed with a key that is none of this installation"
    if kept is not None and (kept.text, kept.signature, kept.key) != (row.text, row.signature, row.key):
        return "is another one than in the file outside of the database"
    try:
        says = row.told()
        same = (says["studio"], says["number"], says["at"]) == (row.studio_id, row.number, utc_text(row.at))
    except (ValueError, KeyError, TypeError):
        return "says nothing that can be read"
    return None if same else "has columns that differ from its signed text"


def _broken_records(studio: Studio, told: Sequence[dict[str, Any]]) -> Iterator[BrokenCheckpoint]:
    """The first record of each checkpoint's that is missing or has another seal than it had then."""
    if not told:
        return
    rows = SealedRecord.objects.of(studio).order_by("sequence", "id").values_list("sequence", "seal")
    seals = rows.iterator()
    sequence, seal = next(seals, (None, ""))
    broken: set[int] = set()
    for number, wanted, start, whole in _sealed_then(told):
        while sequence is not None and sequence < wanted:
            sequence, seal = next(seals, (None, ""))
        if number in broken:
            continue
        if sequence != wanted:
            broken.add(number)
            yield _record(number, wanted, "is gone: it was there")
        elif not seal.startswith(start) or (whole and seal != whole):
            broken.add(number)
            yield _record(number, wanted, "was sealed anew: it had another seal")


def _sealed_then(told: Sequence[dict[str, Any]]) -> Iterator[tuple[int, int, str, str]]:
    """Checkpoint, place, first digits of the seal, and of the last record of a checkpoint the whole seal."""
    for says in told:
        records = says["records"]
        for sequence, start in enumerate(records["seals"], start=records["after"] + 1):
            yield says["number"], sequence, start, records["seal"] if sequence == records["to"] else ""


def _record(number: int, sequence: int, what: str) -> BrokenCheckpoint:
    return BrokenCheckpoint(number, f"record {sequence}", f"{what} when checkpoint {number} was made")


def _broken_rows(studio: Studio, told: Sequence[dict[str, Any]]) -> Iterator[BrokenCheckpoint]:
    for table in sorted({table for says in told for table in says["tables"]}):
        blocks = [one for says in told for one in _expected(says["number"], says["tables"].get(table, {}))]
        # A table that got a column was hashed without it before; each form is read in a pass of its own.
        for columns, group in groupby(blocks, key=lambda one: one.columns):
            yield from _broken_blocks(studio, table, columns, list(group))


def _expected(number: int, told: dict[str, Any]) -> Iterator[_Expected]:
    after = int(told.get("after", 0))
    for block in map(block_from, told.get("blocks", ())):
        yield _Expected(number=number, after=after, columns=tuple(told["columns"]), block=block)
        after = block.to


def _broken_blocks(
    studio: Studio, table: str, columns: Sequence[str], expected: Sequence[_Expected]
) -> Iterator[BrokenCheckpoint]:
    rows = settled_rows(
        table, studio=studio.pk, columns=columns, after=expected[0].after, to=expected[-1].block.to
    )
    waiting: list[tuple[int, bytes]] = []
    following = iter([*expected, None])
    block = next(following)
    try:
        for pk, text in rows:
            while block is not None and pk > block.block.to:
                yield from _differing(table, block, waiting)
                waiting, block = [], next(following)
            waiting.append((pk, row_digest(text)))
    except LookupError as error:
        yield BrokenCheckpoint(expected[0].number, table, f"cannot be proved any more: {error}")
        return
    while block is not None:
        yield from _differing(table, block, waiting)
        waiting, block = [], next(following)


def _differing(
    table: str, expected: _Expected, rows: Sequence[tuple[int, bytes]]
) -> Iterator[BrokenCheckpoint]:
    """The finding about a block that is not as it was: its first row that is another one, or is missing."""
    found = block_of(rows, expected.block.to)
    if found == expected.block:
        return
    first = expected.block.first_difference(found)
    where = f"row {rows[first][0]}" if first < len(rows) else f"the rows after {_last(expected, rows, first)}"
    more = found.rows - expected.block.rows
    change = f"{more} more" if more > 0 else f"{-more} fewer" if more else "as many"
    yield BrokenCheckpoint(
        expected.number,
        f"{where} of {table}",
        f"differ from what checkpoint {expected.number} sealed: between ids {expected.after + 1} and "
        f"{expected.block.to} there are {change} rows, the first other one here",
    )


def _last(expected: _Expected, rows: Sequence[tuple[int, bytes]], place: int) -> int:
    return rows[place - 1][0] if place else expected.after
