"""The checkpoints as they are kept outside of the database: one file per studio, one line each, only ever longer.

A line is a JSON object with `number`, `text` (what was signed), `signature` and `key`. Copy these files to where
the database's keeper cannot write; the longer ago a copy was taken away, the more it proves.
"""

import fcntl
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from django.conf import settings


@dataclass(frozen=True, slots=True)
class KeptCheckpoint:
    """One line of such a file."""

    number: int
    text: str
    signature: str
    key: str

    def line(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False, separators=(",", ":"))


def file_of(studio: int) -> Path:
    """Where the checkpoints of the studio with this key are."""
    return Path(settings.CHECKPOINTS) / f"studio-{studio}.jsonl"


def kept_checkpoints(studio: int) -> Iterator[KeptCheckpoint]:
    """The lines of a studio's file; raises `ValueError` at one that is none."""
    file = file_of(studio)
    if file.exists():
        with file.open(encoding="utf-8") as lines:
            yield from (_read(line) for line in lines if line.strip())


def keep_checkpoints(studio: int, checkpoints: Sequence[KeptCheckpoint]) -> int:
    """Append those that are newer than the newest in the file, on disk when this returns; says how many."""
    file = file_of(studio)
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("a+", encoding="utf-8") as writing:
        fcntl.flock(writing, fcntl.LOCK_EX)
        newest = max((one.number for one in kept_checkpoints(studio)), default=0)
        fresh = [one for one in checkpoints if one.number > newest]
        for one in fresh:
            writing.write(one.line() + "\n")
        writing.flush()
        os.fsync(writing.fileno())
    return len(fresh)


def _read(line: str) -> KeptCheckpoint:
    told = json.loads(line)
    if not isinstance(told, dict) or set(told) != {"number", "text", "signature", "key"}:
        raise ValueError("no checkpoint")
    return KeptCheckpoint(
        number=int(told["number"]),
        text=str(told["text"]),
        signature=str(told["signature"]),
        key=str(told["key"]),
    )
