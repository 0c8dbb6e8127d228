"""What a checkpoint says, and how rows are hashed for it.

A chain of seals shows every change within itself, but not that its end was cut off or that all of it was written
anew. A checkpoint does: it names the last seal and digests of every row that can never change, is signed, and is kept
where the database cannot reach. Rows are hashed when a checkpoint is made and not when they are written, because one
chain through all of them would make every writer wait for every other.

A row is hashed as the JSON list of its values. The hashes of up to `ROWS_IN_BLOCK` rows are hashed again to a block,
so a million rows make ten thousand lines of digests; of each row's own hash four hexadecimal digits are kept beside
(`marks`), which prove nothing but tell which row of a block is another one.
"""

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

FORM = "checkpoint 1"
NOTHING_BEFORE = "0" * 64
ROWS_IN_BLOCK = 100
MARK = 4
SHORT_SEAL = 16
CODE_LETTERS = 16
"""80 bits of the digest: few enough to be read aloud, too many to be met by trying."""


@dataclass(frozen=True, slots=True)
class Block:
    """Up to `ROWS_IN_BLOCK` rows of one table, ending with the id `to`."""

    to: int
    rows: int
    digest: str
    marks: str

    def plain(self) -> dict[str, Any]:
        return {"to": self.to, "rows": self.rows, "digest": self.digest, "marks": self.marks}

    def first_difference(self, found: "Block") -> int:
        """The place, from 0, of the first row that is another one in the block as it was `found`."""
        pairs = zip(_marks(self.marks), _marks(found.marks), strict=False)
        differing = (place for place, (mine, other) in enumerate(pairs) if mine != other)
        return next(differing, min(self.rows, found.rows))


def row_text(values: Sequence[Any] | Mapping[str, Any]) -> str:
    """The values of a row as the text that is hashed: the same on every engine."""
    return json.dumps(
        values, default=_plain, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime):
        return utc_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (bytes, memoryview)):
        return base64.b64encode(value).decode()
    return str(value)


def utc_text(at: datetime) -> str:
    """A moment in UTC with all its places, so that one moment has one text."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def row_digest(text: str) -> bytes:
    return hashlib.sha256(text.encode()).digest()


def block_of(rows: Sequence[tuple[int, bytes]], to: int) -> Block:
    """The block of these rows, given as id and hash, ending with the id `to`."""
    digests = [digest for _, digest in rows]
    return Block(
        to=to,
        rows=len(rows),
        digest=hashlib.sha256(b"".join(digests)).hexdigest(),
        marks="".join(digest.hex()[:MARK] for digest in digests),
    )


def blocks_of(rows: Iterable[tuple[int, bytes]], to: int) -> Iterator[Block]:
    """The rows, in order of their ids, in blocks; the last of them ends with `to`, the last id that is settled."""
    waiting: list[tuple[int, bytes]] = []
    for row in rows:
        if len(waiting) == ROWS_IN_BLOCK:
            yield block_of(waiting, waiting[-1][0])
            waiting = []
        waiting.append(row)
    yield block_of(waiting, to)


def digest_of(text: str) -> str:
    """The hexadecimal SHA-256 by which the next checkpoint names this one."""
    return hashlib.sha256(text.encode()).hexdigest()


def short_code(number: int, digest: str) -> str:
    """A checkpoint as it is printed on papers: its number and 16 letters of its digest, `12-K7QF-2MXA-…`."""
    letters = base64.b32encode(bytes.fromhex(digest)).decode()[:CODE_LETTERS]
    return "-".join([str(number), *(letters[place : place + 4] for place in range(0, CODE_LETTERS, 4))])


def block_from(told: Mapping[str, Any]) -> Block:
    """A block as a checkpoint's text tells it."""
    return Block(
        to=int(told["to"]), rows=int(told["rows"]), digest=str(told["digest"]), marks=str(told["marks"])
    )


def _marks(text: str) -> list[str]:
    return [text[place : place + MARK] for place in range(0, len(text), MARK)]
