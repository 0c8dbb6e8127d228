"""Lot and batch numbers that can be read aloud and that a slip of the finger cannot turn into another.

A number is the two-digit year, the studio's running number and one check character over both, by
ISO/IEC 7064 MOD 37,36 (all single substitutions and nearly all swaps of neighbours are caught):
`26-0417-K` is a lot, `B26-0031-7` a batch. Case, spaces and hyphens do not matter when reading one.
"""

import re
from typing import Literal

from stdnum.iso7064 import mod_37_36

from studio.kernel.errors import Invalid

Sort = Literal["lot", "batch"]
_PREFIX: dict[Sort, str] = {"lot": "", "batch": "B"}
_SHAPE = re.compile(r"(B?)(\d{2})(\d{4,9})([0-9A-Z])")
LONGEST_NUMBER = 16


class BadNumberText(Invalid):
    """A text that is no number of that sort: wrong shape, or a check character that does not fit."""

    code = "mistyped-number"
    title = "Mistyped number"


def compose(sort: Sort, year: int, running: int) -> str:
    """The number of the `running`-th lot or batch of a year, such as `26-0417-K`."""
    body = f"{_PREFIX[sort]}{year % 100:02d}{running:04d}"
    return f"{body[: -_digits(running)]}-{running:04d}-{mod_37_36.calc_check_digit(body)}"


def _digits(running: int) -> int:
    return max(4, len(str(running)))


def parse(sort: Sort, text: str) -> str:
    """The number `text` stands for, in its written form; raises `BadNumberText` when it is mistyped."""
    bare = re.sub(r"[\s\-–]", "", text).upper()
    match = _SHAPE.fullmatch(bare) if len(bare) <= LONGEST_NUMBER else None
    if match is None or match[1] != _PREFIX[sort] or len(match[3]) != _digits(int(match[3])):
        example = compose(sort, 26, 417)
        raise BadNumberText(f"“{text[:40]}” is not a {sort} number; one looks like {example}.")
    if not mod_37_36.is_valid(bare):
        raise BadNumberText(f"{text[:40]} is mistyped: its check character does not fit.")
    return compose(sort, int(match[2]), int(match[3]))


def likely_meant(sort: Sort, text: str) -> list[str]:
    """Valid numbers one slip away from `text`: one character wrong, or two neighbours swapped.

    The caller keeps those that exist and shows them as suggestions; none is ever taken without asking.
    """
    bare = re.sub(r"[\s\-–]", "", text).upper()[:LONGEST_NUMBER]
    alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    slips = {bare[:i] + bare[i + 1] + bare[i] + bare[i + 2 :] for i in range(len(bare) - 1)}
    slips |= {bare[:i] + letter + bare[i + 1 :] for i in range(len(bare)) for letter in alphabet}
    found = set()
    for slip in slips:
        try:
            found.add(parse(sort, slip))
        except BadNumberText:
            continue
    return sorted(found)
