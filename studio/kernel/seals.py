"""Seals over finished records: canonical JSON, hashed together with the seal before.

The canonical text is RFC 8785's (one text for one value); masses stand in it as decimal strings, so no
number format can shift a hash. A seal is the SHA-256 of the previous seal, a newline and that text, so a record
that is changed, removed, inserted or moved breaks the chain at its place.
"""

import hashlib
from typing import Any

import rfc8785

FIRST_SEAL = "0" * 64


def canonical(record: dict[str, Any]) -> str:
    """The RFC 8785 text of a record made of strings, integers, booleans, null, lists and objects."""
    return rfc8785.dumps(record).decode()


def seal(previous: str, text: str) -> str:
    """The hexadecimal SHA-256 that seals `text` behind the record whose seal is `previous`."""
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()
