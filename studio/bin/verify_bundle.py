#!/usr/bin/env python3
"""Verifies a bundle of sealed records with Python's standard library alone; needs nothing of what made it.

    python3 verify_bundle.py BUNDLE [--checkpoint CODE]... [--key BASE64]...

BUNDLE is the zip file or the folder it was unpacked to. CODE is a checkpoint's code from a ticket or a letter that you
kept; KEY is a public key that you wrote down when you trusted the studio. Without either, the bundle is shown to be
whole and consistent in itself, signed by whoever holds the key that lies in it. What is in it:

    records.jsonl       one record a line: sequence, text, previous, seal
    checkpoints.jsonl   one checkpoint a line: number, text, signature, key
    rows/*.jsonl        the rows each checkpoint hashed, one JSON list a line

A record's seal is SHA-256 over the seal before it, a newline and its text. A checkpoint's text is signed with Ed25519
(RFC 8032); it tells the seals up to then, and of each table the SHA-256 over the SHA-256 of every row, block by block.
A signature is a record that names the seal it signs. Ends with status 0 when everything holds and 1 when not.
"""

import argparse
import base64
import hashlib
import json
import sys
import zipfile
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

FIRST = "0" * 64
P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
Point = tuple[int, int, int, int]


# Ed25519, RFC 8032 section 5.1, on extended coordinates


def add(one: Point, two: Point) -> Point:
    a = (one[1] - one[0]) * (two[1] - two[0]) % P
    b = (one[1] + one[0]) * (two[1] + two[0]) % P
    c = 2 * one[3] * two[3] * D % P
    d = 2 * one[2] * two[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def multiply(scalar: int, point: Point) -> Point:
    result: Point = (0, 1, 1, 0)
    while scalar > 0:
        if scalar & 1:
            result = add(result, point)
        point = add(point, point)
        scalar >>= 1
    return result


def point_of(data: bytes) -> Point | None:
    """The point that 32 bytes stand for, or None where they stand for none."""
    y = int.from_bytes(data, "little")
    sign, y = y >> 255, y & (2**255 - 1)
    if len(data) != 32 or y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    x = P - x if x & 1 != sign else x
    return x, y, 1, x * y % P


def signed(key: bytes, message: bytes, signature: bytes) -> bool:
    """Whether the signature of the message holds under the public key."""
    base = point_of((4 * pow(5, -1, P) % P).to_bytes(32, "little"))
    public, nonce = point_of(key), point_of(signature[:32])
    scalar = int.from_bytes(signature[32:], "little")
    if len(signature) != 64 or base is None or public is None or nonce is None or scalar >= ORDER:
        return False
    hashed = int.from_bytes(hashlib.sha512(signature[:32] + key + message).digest(), "little") % ORDER
    left, right = multiply(scalar, base), add(nonce, multiply(hashed, public))
    same_x = (left[0] * right[2] - right[0] * left[2]) % P == 0
    return same_x and (left[1] * right[2] - right[1] * left[2]) % P == 0


# The bundle


class Bundle:
    """The files of a bundle, zipped or unpacked."""

    def __init__(self, path: Path) -> None:
        self.folder = None if path.is_file() else path
        self.zipped = zipfile.ZipFile(path) if path.is_file() else None

    def lines(self, name: str) -> Iterator[str]:
        """The lines of a file; nothing when it is not there."""
        if self.zipped is not None:
            if name in self.zipped.namelist():
                with self.zipped.open(name) as file:
                    yield from (line.decode().rstrip("\n") for line in file)
        elif self.folder is not None and (self.folder / name).is_file():
            with (self.folder / name).open(encoding="utf-8", newline="\n") as file:
                yield from (line.rstrip("\n") for line in file)


def records(bundle: Bundle, seals: list[str]) -> Iterator[str]:
    """What does not hold of the records; fills `seals`, in which record 1 stands at place 0."""
    previous = FIRST
    for place, line in enumerate(bundle.lines("records.jsonl"), start=1):
        told = json.loads(line)
        text, seal = told["text"], told["seal"]
        if told["sequence"] != place:
            yield f"record {place} is missing; {told['sequence']} stands in its place"
            return
        if told["previous"] != previous:
            yield f"record {place} does not follow the seal of the one before it"
        if hashlib.sha256(f"{told['previous']}\n{text}".encode()).hexdigest() != seal:
            yield f"the text of record {place} is not the one that was sealed"
        yield from envelope(place, json.loads(text), seals)
        seals.append(seal)
        previous = seal


def envelope(place: int, says: dict[str, Any], seals: list[str]) -> Iterator[str]:
    """What a record's text contradicts: its own place, what it amends, the seal it signs."""
    if says["sequence"] != place:
        yield f"record {place} says that it is record {says['sequence']}"
    if says["amends"] is not None and not 0 < says["amends"] < place:
        yield f"record {place} amends record {says['amends']}, which does not stand before it"
    if says["subject"] == "signature":
        signs = says["record"]["signs"]
        if not 0 < signs["sequence"] < place or seals[signs["sequence"] - 1] != signs["seal"]:
            yield f"record {place} signs record {signs['sequence']} with a seal that this does not have"


def checkpoints(bundle: Bundle, seals: list[str], codes: set[str], keys: set[str]) -> Iterator[str]:
    """What does not hold by the checkpoints; takes those that it meets out of `codes`, and puts keys into `keys`."""
    previous = FIRST
    for place, line in enumerate(bundle.lines("checkpoints.jsonl"), start=1):
        told = json.loads(line)
        text: str = told["text"]
        says = json.loads(text)
        name = f"checkpoint {place}"
        if not told["number"] == says["number"] == place:
            yield f"{name} is missing; {told['number']} stands in its place"
            return
        if not signed(base64.b64decode(told["key"]), text.encode(), base64.b64decode(told["signature"])):
            yield f"{name} is not as it was signed"
        if says["previous"] != previous:
            yield f"{name} does not follow the checkpoint before it"
        previous = hashlib.sha256(text.encode()).hexdigest()
        codes.discard(code(place, previous))
        keys.add(told["key"])
        yield from sealed_then(name, says["records"], seals)
        for table, rows in sorted(says["tables"].items()):
            yield from blocks(name, rows, bundle.lines(f"rows/{place:06}-{table}.jsonl"), table)


def code(number: int, digest: str) -> str:
    """A checkpoint's code as it is printed."""
    letters = base64.b32encode(bytes.fromhex(digest)).decode()[:16]
    return "-".join([str(number), *(letters[place : place + 4] for place in range(0, 16, 4))])


def sealed_then(name: str, told: dict[str, Any], seals: list[str]) -> Iterator[str]:
    """The first record that is not the one it was when the checkpoint was made."""
    for sequence, start in enumerate(told["seals"], start=told["after"] + 1):
        if sequence > len(seals):
            yield f"record {sequence} is gone: it was there when {name} was made"
            return
        whole = told["seal"] if sequence == told["to"] else start
        if not seals[sequence - 1].startswith(whole):
            yield f"record {sequence} was sealed anew: it had another seal when {name} was made"
            return


def blocks(name: str, told: dict[str, Any], lines: Iterator[str], table: str) -> Iterator[str]:
    """The first block of rows that is not as the checkpoint hashed it."""
    for block in told["blocks"]:
        digests = [hashlib.sha256(line.encode()).digest() for line in islice(lines, block["rows"])]
        if len(digests) < block["rows"] or hashlib.sha256(b"".join(digests)).hexdigest() != block["digest"]:
            marks = [digest.hex()[:4] for digest in digests]
            then = [block["marks"][at : at + 4] for at in range(0, len(block["marks"]), 4)]
            first = next(
                (at for at, pair in enumerate(zip(marks, then, strict=False)) if pair[0] != pair[1]),
                len(marks),
            )
            yield f"row {first + 1} of those up to id {block['to']} of {table} is not as {name} sealed it"
            return
    if next(lines, None) is not None:
        yield f"there are more rows of {table} than {name} sealed"


def findings(path: Path, codes: list[str], known: list[str]) -> tuple[list[str], str]:
    """Everything that does not hold, and what was looked at."""
    bundle = Bundle(path)
    seals: list[str] = []
    missing, keys = {code.strip().upper() for code in codes}, set[str]()
    try:
        found = [*records(bundle, seals), *checkpoints(bundle, seals, missing, keys)]
    except (ValueError, KeyError, TypeError, UnicodeDecodeError) as error:
        return [f"the bundle cannot be read: {error!r}"], "an unreadable bundle"
    found += [
        f"checkpoint {code} is not in the bundle: these are not the records of then"
        for code in sorted(missing)
    ]
    if not seals:
        found.append("there is no record in the bundle")
    if known and keys - set(known):
        found.append(f"there are checkpoints signed with another key: {', '.join(sorted(keys - set(known)))}")
    signers = (
        f", signed with {', '.join(sorted(keys))}"
        if keys
        else ", and no checkpoint: a cut end would not show"
    )
    return found, f"{len(seals)} records{signers}"


def main() -> None:
    parser = argparse.ArgumentParser(description="Verify a bundle of sealed records.")
    parser.add_argument("bundle", type=Path)
    parser.add_argument("--checkpoint", action="append", default=[], metavar="CODE")
    parser.add_argument("--key", action="append", default=[], metavar="BASE64")
    told = parser.parse_args()
    found, looked_at = findings(told.bundle, told.checkpoint, told.key)
    sys.stdout.write("".join(f"{sentence}\n" for sentence in found))
    sys.stdout.write(f"{len(found)} things do not hold" if found else "Everything holds")
    sys.stdout.write(f" ({looked_at}).\n")
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
