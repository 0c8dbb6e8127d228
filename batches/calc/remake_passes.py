"""The passes of a remake plan: all items netted from the top down, until everything a row takes is there on its day.

A pass nets the items in the order of their low-level codes, so that every row's inputs have become needs before their
item is netted. Where an input then comes late, or never, its users are told in two steps. First they are made bare (each
need for itself, nothing up to full, what is only for pars last) as long as the input is scarce, since joining must not
make late what could be in time. If it is scarce still, the part of a need that it allows stays and the rest waits for the
day the input comes. Only items told something new are netted again. What is told only ever grows, and days are bounded
by the longest way down, so the passes end.
"""

from collections.abc import Sequence
from datetime import date

from batches.calc.remake_book import ASKED, BATCH, SOFT, USE, Frame, Limits, Need, Netted, Part, Row, Supply
from batches.calc.remake_netting import net
from batches.calc.remake_request import Demand, RemakeRequest, Wanted
from batches.calc.remake_result import SourceSort
from batches.calc.remake_ways import FOREVER, Lack, Way, Ways, seen_from
from studio.kernel.mass import micrograms

_RANKS = {Wanted.BATCH: BATCH, Wanted.USE: USE, Wanted.ASKED: ASKED}


class Passes:
    """The state between passes: demands and stock by item, what has been found, and what each item was told."""

    def __init__(self, request: RemakeRequest, ways: Ways) -> None:
        self.ways = ways
        count = len(ways.ways)
        self.frame = Frame(
            today=request.today.toordinal(),
            horizon=request.until.toordinal(),
            worth=_worth(request),
            kept={key: micrograms(mass) for key, mass in request.kept_masses.items()},
        )
        self.own = _own_needs(request, ways, self.frame.today)
        self.stock = _stock(request, ways, self.frame.today)
        self.reserved = _reserved(request, ways, self.frame.today)
        self.from_users: list[dict[int, list[Need]]] = [{} for _ in range(count)]
        self.limits = [Limits() for _ in range(count)]
        self.netted: list[Netted] = [Netted([], [], [], [], None) for _ in range(count)]
        self.stale = bytearray(b"\x01" * count)

    def run(self) -> list[Netted]:
        """Pass after pass until nothing comes late that is not known to; what each item's netting found last."""
        while True:
            for place in self.ways.order:
                if self.stale[place]:
                    self._net(place)
            scarce = self._scarce()
            if not scarce:
                return self.netted
            if not self._make_bare(scarce):
                self._let_wait(scarce)

    def _net(self, place: int) -> None:
        self.stale[place] = 0
        way = self.ways.ways[place]
        needs = list(self.own[place])
        for several in self.from_users[place].values():
            needs += several
        needs.sort(key=_in_turn)
        found = net(
            place=place,
            way=way,
            frame=self.frame,
            limits=self.limits[place],
            needs=needs,
            supplies=[Supply(*supply) for supply in self.stock[place]],
            reserved=self.reserved[place],
        )
        self.netted[place] = found
        if not way.inputs:
            return
        taken: list[list[Need]] = [[] for _ in way.inputs]
        for row in found.rows:
            for number, mass in enumerate(input_masses(way, row.mass)):
                if mass:
                    taken[number].append(
                        Need(row.start, row.good, mass, row.due - way.lead, row.rank, None, place, row.number)
                    )
        for portion, several in zip(way.inputs, taken, strict=True):
            if self.from_users[portion.item].get(place, []) != several:
                self.from_users[portion.item][place] = several
                self.stale[portion.item] = 1

    def _scarce(self) -> list[int]:
        """Items that come too late, or never, for some row of the plan."""
        found = []
        for place, netted in enumerate(self.netted):
            if not self.from_users[place]:
                continue
            late = any(take.at > take.need.day and take.need.user >= 0 for take in netted.takes)
            if late or any(one.need is not None and one.need.user >= 0 for one in netted.unmet):
                found.append(place)
        return found

    def _make_bare(self, scarce: Sequence[int]) -> bool:
        """Tell all that takes of the scarce items, however deep, to be made bare until they come; whether it matters."""
        matters = False
        waiting = [(place, self._scarce_until(place)) for place in scarce]
        while waiting:
            place, until = waiting.pop()
            for user in self.ways.users[place]:
                limit = min(FOREVER, until + self.ways.ways[user].lead)
                known = self.limits[user]
                if known.bare_until >= limit:
                    continue
                before, known.bare_until = known.bare_until, limit
                waiting.append((user, limit))
                rows = self.netted[user].rows
                if any(before < row.usable <= limit and self._more_than_bare(user, row) for row in rows):
                    self.stale[user] = 1
                    matters = True
        return matters

    def _more_than_bare(self, place: int, row: Row) -> bool:
        """Whether a row holds more than its day needs, or serves pars together with what is not for them."""
        if row.mass > row.base or row.par:
            return True
        takes = self.netted[place].takes
        return row.rank < SOFT and any(take.source is row and take.need.rank == SOFT for take in takes)

    def _scarce_until(self, place: int) -> int:
        netted = self.netted[place]
        if any(one.need is not None and one.need.user >= 0 for one in netted.unmet):
            return FOREVER
        return max(take.at for take in netted.takes if take.need.user >= 0 and take.at > take.need.day)

    def _let_wait(self, scarce: Sequence[int]) -> None:
        """Tell each row's item which part of its day's need the scarce inputs allow, and when the rest can be made."""
        waits: dict[tuple[int, int], _Wait] = {}
        for place in scarce:
            for (user, number), wait in self._waits(place).items():
                row = self.netted[user].rows[number]
                whole = waits.setdefault((user, number), _Wait(row.mass, self.frame.today, None))
                whole.join(wait)
        groups: dict[tuple[int, int, bool], list[tuple[Row, _Wait]]] = {}
        for (user, number), wait in sorted(waits.items(), key=lambda each: each[0]):
            row = self.netted[user].rows[number]
            groups.setdefault((user, row.usable, row.soft), []).append((row, wait))
        for (user, usable, soft), troubled in groups.items():
            self._tell(user, usable, soft, troubled)

    def _tell(self, user: int, usable: int, soft: bool, troubled: Sequence[tuple[Row, "_Wait"]]) -> None:
        way = self.ways.ways[user]
        waits = {row.number: wait for row, wait in troubled}
        free = 0
        for row in self.netted[user].rows:
            if row.usable != usable or row.soft != soft:
                continue
            wait = waits.get(row.number)
            if wait is None:
                free += row.base
            elif way.smallest <= wait.free < row.base:
                free += wait.free
        later = max(wait.later for _, wait in troubled)
        lack = next((wait.lack for _, wait in troubled if wait.lack is not None), None)
        never = later >= FOREVER
        part = Part(free, None if never else max(later + way.lead, usable + 1), lack)
        parts = self.limits[user].parts
        parts[usable, soft] = [part, *(one for one in parts.get((usable, soft), ()) if one.free > free)]
        self.stale[user] = 1

    def _waits(self, place: int) -> dict[tuple[int, int], "_Wait"]:
        """For each row that an item keeps waiting: how much of the row it allows, and when more of it comes."""
        netted = self.netted[place]
        in_time: dict[tuple[int, int], int] = {}
        comes: dict[tuple[int, int], int] = {}
        for take in netted.takes:
            key = (take.need.user, take.need.row)
            if take.need.user < 0:
                continue
            if take.at <= take.need.day:
                in_time[key] = in_time.get(key, 0) + take.mass
            else:
                comes[key] = min(comes.get(key, FOREVER), take.at)
        lacks: dict[tuple[int, int], Lack] = {}
        for one in netted.unmet:
            if one.need is not None and one.need.user >= 0:
                key = (one.need.user, one.need.row)
                comes.setdefault(key, FOREVER)
                lacks[key] = one.lack
        whole = {(need.user, need.row): need.mass for need in self._needs_of_rows(place)}
        waits = {}
        for key, later in comes.items():
            row = self.netted[key[0]].rows[key[1]]
            free = row.mass * in_time.get(key, 0) // whole[key]
            lack = lacks.get(key) if later == FOREVER else None
            waits[key] = _Wait(free, later, None if lack is None else seen_from(key[0], lack))
        return waits

    def _needs_of_rows(self, place: int) -> list[Need]:
        return [need for several in self.from_users[place].values() for need in several]


class _Wait:
    """How much of a row can be made in time, from when more, and what stands in the way when never."""

    __slots__ = ("free", "lack", "later")

    def __init__(self, free: int, later: int, lack: Lack | None) -> None:
        self.free = free
        self.later = later
        self.lack = lack

    def join(self, other: "_Wait") -> None:
        """Both inputs are needed: the smaller part is free, and the rest waits for the later."""
        self.free = min(self.free, other.free)
        self.later = max(self.later, other.later)
        self.lack = self.lack or other.lack


def input_masses(way: Way, mass: int) -> list[int]:
    """What making `mass` takes of each input, each rounded half-even to the microgram, once, as it will be weighed.

    Where the inputs make the whole of it, the largest takes the rest, so that they add up to the mass exactly.
    """
    masses = []
    for portion in way.inputs:
        whole, rest = divmod(mass * portion.parts, way.yields)
        twice = 2 * rest
        masses.append(whole + (twice > way.yields or (twice == way.yields and whole % 2 == 1)))
    if way.closed:
        largest = max(range(len(masses)), key=lambda number: way.inputs[number].parts)
        masses[largest] += mass - sum(masses)
    return masses


def _in_turn(need: Need) -> tuple[bool, int, int, int, int]:
    return (need.rank == SOFT, need.day, need.rank, need.user, need.row)


def _worth(request: RemakeRequest) -> int:
    """The worth of a making in microgram-days, rounded down."""
    return int(request.making_worth.scaleb(6))


def _own_needs(request: RemakeRequest, ways: Ways, today: int) -> list[list[Need]]:
    own: list[list[Need]] = [[] for _ in ways.ways]
    days: dict[date, int] = {}
    for demand in request.demands:
        mass = micrograms(demand.mass)
        if not mass:
            continue
        day = days.get(demand.day)
        if day is None:
            day = days[demand.day] = demand.day.toordinal()
        own[ways.places[demand.item]].append(_need(demand, day, today, mass))
    return own


def _need(demand: Demand, day: int, today: int, mass: int) -> Need:
    wanted = day if day > today else today
    return Need(wanted, wanted, mass, day, _RANKS[demand.wanted], demand)


_StockLine = tuple[int, int, int, int, SourceSort, str, str]


def _stock(request: RemakeRequest, ways: Ways, today: int) -> list[list[_StockLine]]:
    """What is or will be there, by item, sorted by end, then start, then number; lots on hold are left out."""
    stock: list[list[_StockLine]] = [[] for _ in ways.ways]
    for lot in request.lots:
        if lot.held or not lot.mass:
            continue
        start = today if lot.usable_from is None else max(today, lot.usable_from.toordinal())
        end = FOREVER if lot.expires_on is None else lot.expires_on.toordinal()
        mass = micrograms(lot.mass)
        stock[ways.places[lot.item]].append(
            (start, end, mass, mass, SourceSort.LOT, str(lot.id), f"lot {lot.number}")
        )
    for receipt in request.receipts:
        if not receipt.mass:
            continue
        start = max(today, receipt.day.toordinal())
        end = FOREVER if receipt.expires_on is None else receipt.expires_on.toordinal()
        mass = micrograms(receipt.mass)
        stock[ways.places[receipt.item]].append(
            (start, end, mass, mass, SourceSort.RECEIPT, receipt.ref, receipt.label)
        )
    for lines in stock:
        lines.sort(key=lambda line: (line[1], line[0], line[4], len(line[5]), line[5]))
    return stock


def _reserved(request: RemakeRequest, ways: Ways, today: int) -> list[list[tuple[int, int]]]:
    """By item, the later days on which what is reserved leaves the shelf, with the mass."""
    reserved: list[list[tuple[int, int]]] = [[] for _ in ways.ways]
    for one in request.reserved:
        day = one.day.toordinal()
        if day > today:
            reserved[ways.places[one.item]].append((day, micrograms(one.mass)))
    return reserved
