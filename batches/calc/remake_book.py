"""The working values of a remake plan: needs, supplies, rows, and what netting one item found.

Days are ordinals, masses whole micrograms, items their places in the list; only the edges know dates and grams.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from batches.calc.remake_packs import Packs
from batches.calc.remake_request import Demand
from batches.calc.remake_result import SizeReason, SourceSort
from batches.calc.remake_ways import Lack

BATCH, USE, ASKED, SOFT = range(4)
"""Ranks: who is served first on one day. What is only for a par is soft: it gets what all the others leave."""


class Need(NamedTuple):
    """`mass` of an item wanted on `day`, from a lot good until `until`; `due` is the day were nothing late.

    It is a `demand` of the request, or an input of row number `row` of item `user`.
    """

    day: int
    until: int
    mass: int
    due: int
    rank: int
    demand: Demand | None = None
    user: int = -1
    row: int = -1


@dataclass(slots=True)
class Supply:
    """A lot or receipt, usable from `start` to `end`, with `left` of its `mass` not yet given to anybody."""

    start: int
    end: int
    mass: int
    left: int
    sort: SourceSort
    ref: str
    label: str


@dataclass(slots=True)
class Row:
    """A making or order. `usable` is its first day of use, `good` the last day planned for, `end` its last good day.

    `base` is what its own day needs, `spare` what no need takes of it, for the par if `par`.
    `soft` when it was made for pars alone, though later needs may have a share.
    """

    place: int
    number: int
    key: str
    start: int
    usable: int
    due: int
    mass: int
    base: int
    rank: int
    reason: SizeReason
    good: int
    end: int
    spare: int = 0
    par: bool = False
    packs: Packs | None = None
    soft: bool = False


class Take(NamedTuple):
    """`mass` for a need, on day `at`, from a supply or a row of the same item."""

    need: Need
    at: int
    mass: int
    source: Supply | Row


class Unmet(NamedTuple):
    """`mass` of a need that is never met; `need` None is the par, missed first on `day`."""

    need: Need | None
    day: int
    mass: int
    lack: Lack


class Part(NamedTuple):
    """Beyond `free` micrograms of a day's need, what is made of it is ready only on day `later`; None: never."""

    free: int
    later: int | None
    lack: Lack | None


@dataclass(slots=True)
class Limits:
    """What earlier passes found out about one item: until when it is made bare, and which needs have to wait.

    Bare: each need for itself and nothing up to full, because something it is made of is scarce until then.
    """

    bare_until: int = -1
    parts: dict[tuple[int, bool], list[Part]] = field(default_factory=dict)


@dataclass(slots=True)
class Netted:
    """What netting one item found; `first_short` is the first need that the shelf does not meet, and by how much."""

    takes: list[Take]
    rows: list[Row]
    unmet: list[Unmet]
    supplies: list[Supply]
    first_short: tuple[Need, int] | None


@dataclass(frozen=True, slots=True)
class Frame:
    """What is the same for all items: first and last day, what a making saved is worth, masses chosen by hand."""

    today: int
    horizon: int
    worth: int
    kept: Mapping[str, int]
