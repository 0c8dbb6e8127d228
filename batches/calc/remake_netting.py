"""Netting one item: what the shelf gives each need, and what to make or buy for the rest, and when.

Needs are served in day order, each from the lot that expires first among those good for it. With needs and lots both
bounded on two sides (usable from, good until) no other way serves more of them, or an earlier one instead of a later.
What remains is made for its day, or for the first day it can be made for. The days are gone through once: a lot made is
joined with later needs (`remake_lot_sizes`), filled up to the par's full, bounded by what weighs well, what the
container takes and what is used while it is good; what it holds beyond its day goes to the next needs.
"""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import date
from heapq import heappop, heappush

from batches.calc.remake_book import SOFT, Frame, Limits, Need, Netted, Row, Supply, Take, Unmet
from batches.calc.remake_level import Level
from batches.calc.remake_lot_sizes import cheapest_runs
from batches.calc.remake_packs import Packs, cheapest_packs, on_time
from batches.calc.remake_result import Obstacle, SizeReason
from batches.calc.remake_shelf import Waiting, served
from batches.calc.remake_ways import FOREVER, Lack, Way
from studio.kernel.mass import micrograms


def net(
    *,
    place: int,
    way: Way,
    frame: Frame,
    limits: Limits,
    needs: Sequence[Need],
    supplies: list[Supply],
    reserved: Sequence[tuple[int, int]] = (),
) -> Netted:
    """Net `needs` (sorted: soft last, by day and rank) with `supplies` (sorted by end, start), which are used up here.

    What is `reserved` until a day serves none of them and stands there for the par.
    """
    takes, waiting = served(needs, supplies)
    if not waiting and not way.item.low:
        return Netted(takes, [], [], supplies, None)
    netting = _Netting(place, way, frame, limits, needs, supplies, takes, reserved)
    hard = next((one for one in waiting if needs[one[0]].rank < SOFT), None)
    first_short = None if hard is None else (needs[hard[0]], hard[1])
    netting.plan(waiting)
    return Netted(takes, netting.rows, netting.unmet, supplies, first_short)


class _Netting:
    """The days of one item gone through once, after the shelf has given what it can in time."""

    def __init__(
        self,
        place: int,
        way: Way,
        frame: Frame,
        limits: Limits,
        needs: Sequence[Need],
        supplies: Sequence[Supply],
        takes: list[Take],
        reserved: Sequence[tuple[int, int]],
    ) -> None:
        self.place = place
        self.way = way
        self.frame = frame
        self.limits = limits
        self.needs = needs
        self.supplies = supplies
        self.takes = takes
        self.reserved = reserved
        self.rows: list[Row] = []
        self.unmet: list[Unmet] = []
        self.earliest = frame.today + way.lead if way.exists else FOREVER
        self.low = micrograms(way.item.low)
        self.full = self.low if way.item.full is None else micrograms(way.item.full)
        self.buckets: dict[int, list[Waiting]] = {}
        self.waiting: dict[int, int] = {}
        self.days: list[int] = []
        self.runs: dict[int, int] = {}
        self.level: Level | None = None
        self.par_from = self.earliest if way.exists else frame.today

    def plan(self, waiting: Sequence[Waiting]) -> None:
        for one in waiting:
            self._wait(one, max(self.needs[one[0]].day, self.earliest))
        if self.low:
            self._watch_level()
        while self.days:
            day = heappop(self.days)
            entries = sorted(one for one in self.buckets.pop(day, ()) if one[1])
            self.waiting.pop(day, None)
            if day > self.limits.bare_until or not entries:
                gap = self._gap(day)
                if entries or gap:
                    soft = all(self.needs[index].rank == SOFT for index, _ in entries)
                    self._make(day, entries, gap, soft=soft)
                continue
            hard = [one for one in entries if self.needs[one[0]].rank < SOFT]
            self._make(day, hard, 0, soft=False)
            self._make(day, entries[len(hard) :], self._gap(day), soft=True)

    # What waits

    def _wait(self, one: Waiting, day: int, lack: Lack | None = None) -> None:
        """Let a need wait for a making of `day`, FOREVER for never, unless something left over serves it before."""
        need = self.needs[one[0]]
        if day > need.day:
            self._serve_late(one, need, day)
        if not one[1]:
            return
        if day == FOREVER:
            self.unmet.append(Unmet(need, need.day, one[1], lack or self._lack()))
            return
        if day not in self.buckets:
            heappush(self.days, day)
            self.buckets[day], self.waiting[day] = [], 0
        self.buckets[day].append(one)
        self.waiting[day] += one[1]

    def _serve_late(self, one: Waiting, need: Need, before: int) -> None:
        """From supplies that come, and from what earlier rows have spare, after the need's day and by `before`."""
        sources: list[tuple[int, int, int, Supply | Row]] = []
        for number, supply in enumerate(self.supplies):
            if supply.left and supply.start <= before and supply.end >= max(need.until, supply.start):
                sources.append((max(supply.start, need.day), 0, number, supply))
        for row in self.rows:
            if row.spare and row.usable <= before and row.end >= max(need.until, row.usable):
                sources.append((max(row.usable, need.day), 1, row.number, row))
        for at, _, _, source in sorted(sources, key=lambda each: each[:3]):
            there = source.spare if isinstance(source, Row) else source.left
            taken = min(one[1], there)
            if isinstance(source, Row):
                source.spare -= taken
                source.good = max(source.good, need.until, at)
            else:
                source.left -= taken
            one[1] -= taken
            self.takes.append(Take(need, at, taken, source))
            if self.level is not None:
                self._note(at, -taken)
                self._note(source.end + 1, taken)
            if not one[1]:
                return

    def _lack(self) -> Lack:
        return self.way.lack or Lack(Obstacle.NO_ROUTE, (self.place,))

    # The par

    def _watch_level(self) -> None:
        self.level = Level()
        today = self.frame.today
        for supply in self.supplies:
            if supply.end >= today:
                self._note(max(supply.start, today), supply.mass)
                self._note(supply.end + 1, -supply.left)
        for take in self.takes:
            self._note(take.at, -take.mass)
        for day, mass in self.reserved:
            self._note(today, mass)
            self._note(day, -mass)
        heappush(self.days, self.par_from)

    def _note(self, day: int, change: int) -> None:
        if self.level is None or not change:
            return
        self.level.note(day, change)
        if change < 0 and self.par_from < day <= self.frame.horizon:
            heappush(self.days, max(day, self.level.reached))

    def _gap(self, day: int) -> int:
        """How much is missing to `low` at the end of `day`."""
        if self.level is None or not self.par_from <= day <= self.frame.horizon:
            return 0
        gap = max(0, self.low - self.level.at(day))
        if gap and not self.way.exists:
            self.unmet.append(Unmet(None, day, gap, self._lack()))
            self.par_from = FOREVER
            return 0
        return gap

    # What is made

    def _make(self, day: int, entries: list[Waiting], gap: int, *, soft: bool) -> None:
        entries, gap = self._without_later(day, self._lasting(day, entries), gap, soft=soft)
        need = sum(left for _, left in entries)
        if not need and not gap:
            return
        want, reason = self._want(day, need, gap)
        sizes, reason = self._sizes(need + gap, want, reason)
        for size in sizes:
            self._row(day, size, entries, gap, reason, soft=soft)
        for one in entries:
            if one[1]:
                lack = Lack(Obstacle.BY_HAND, (self.place,))
                self.unmet.append(Unmet(self.needs[one[0]], day, one[1], lack))

    def _lasting(self, day: int, entries: list[Waiting]) -> list[Waiting]:
        """The needs that a making of the day stays good for; the others are met by nothing that can be had anew."""
        last = day + self.way.keeps
        for index, left in entries:
            if self.needs[index].until > last:
                lack = self.way.lack or Lack(Obstacle.TOO_SHORT_LIVED, (self.place,))
                self.unmet.append(Unmet(self.needs[index], day, left, lack))
        return [one for one in entries if self.needs[one[0]].until <= last]

    def _without_later(
        self, day: int, entries: list[Waiting], gap: int, *, soft: bool
    ) -> tuple[list[Waiting], int]:
        """What of the day's needs is not known to have to wait; the rest is sent to the day it waits for."""
        parts = self.limits.parts.get((day, soft))
        if not parts:
            return entries, gap
        self.runs.clear()
        used = 0
        staying = []
        for one in entries:
            start, end = used, used + one[1]
            used = end
            for number, part in enumerate(parts):
                ceiling = parts[number + 1].free if number + 1 < len(parts) else end
                moved = min(end, ceiling) - max(start, part.free)
                if moved > 0:
                    self._wait([one[0], moved], FOREVER if part.later is None else part.later, part.lack)
            one[1] = max(0, min(end, parts[0].free) - start)
            if one[1]:
                staying.append(one)
        left = max(0, min(gap, parts[0].free - used))
        if left < gap:
            self._put_off_par(day, gap - left, parts[0].later, parts[0].lack)
        return staying, left

    def _put_off_par(self, day: int, missing: int, later: int | None, lack: Lack | None) -> None:
        self.par_from = FOREVER if later is None else later
        if later is None:
            self.unmet.append(Unmet(None, day, missing, lack or self._lack()))
        else:
            heappush(self.days, later)

    def _want(self, day: int, need: int, gap: int) -> tuple[int, SizeReason]:
        """How much is wanted at best, before what weighs well and what the container takes."""
        if day <= self.limits.bare_until:
            return need + gap, SizeReason.NEED
        if self.level is not None and day <= self.frame.horizon:
            extra, reason = self.full - self.level.at(day), SizeReason.FULL
            last = day + self.way.keeps
            if last < self.frame.horizon:
                used = self._drawn(day, last) + self.low - self.level.at(day)
                if used < extra:
                    extra, reason = used, SizeReason.SHELF_LIFE
            return (need + extra, reason) if extra > gap else (need + gap, SizeReason.NEED)
        if self.way.lack is not None or not self.buckets:
            return need, SizeReason.NEED
        want = self._run(day, need)
        return want, SizeReason.SEVERAL if want > need else SizeReason.NEED

    def _drawn(self, day: int, last: int) -> int:
        return sum(need.mass for need in self.needs if day < need.day <= last)

    def _run(self, day: int, need: int) -> int:
        """The need of the day and of the later ones joined with it."""
        if day not in self.runs:
            self._join(day, need)
        end = self.runs.get(day, day)
        return need + sum(mass for other, mass in self.waiting.items() if day < other <= end)

    def _join(self, day: int, need: int) -> None:
        days = [day, *sorted(other for other in self.waiting if other > day)]
        masses = [need, *(self.waiting[other] for other in days[1:])]
        joined = cheapest_runs(
            days, masses, setups=[self.frame.worth] * len(days), most=self.way.largest, ends=self._ends(days)
        )
        self.runs = {days[first]: days[last - 1] for first, last in joined.runs}

    def _ends(self, days: Sequence[int]) -> list[int] | None:
        """One past the last day that a making for each day may serve, while it is good; None when it always is."""
        keeps = self.way.keeps
        if keeps >= FOREVER // 2:
            return None
        untils = [days[0], *map(self._until, days[1:])]
        ends = []
        for first, day in enumerate(days):
            good = day + keeps
            limit = bisect_right(days, good)
            ends.append(next((at for at in range(first + 1, limit) if untils[at] > good), limit))
        return ends

    def _until(self, day: int) -> int:
        return max((self.needs[one[0]].until for one in self.buckets[day] if one[1]), default=day)

    def _sizes(self, base: int, want: int, reason: SizeReason) -> tuple[list[int], SizeReason]:
        smallest, largest = self.way.smallest, self.way.largest
        if smallest > want:
            want, reason = smallest, SizeReason.SMALLEST
        if want <= largest:
            return [want], reason
        if base <= largest:
            return [largest], SizeReason.CONTAINER
        count = -(-base // largest)
        share, rest = divmod(max(base, count * smallest), count)
        return [share + (number < rest) for number in range(count)], SizeReason.CONTAINER

    def _row(
        self, day: int, size: int, entries: Sequence[Waiting], gap: int, reason: SizeReason, *, soft: bool
    ) -> None:
        key = self._key(day)
        if key in self.frame.kept:
            size, reason = self.frame.kept[key], SizeReason.KEPT
        if not size:
            self.par_from = max(self.par_from, day + 1)
            return
        packs = self._packs(day, size)
        if packs is not None and packs.mass > size and reason is not SizeReason.KEPT:
            reason = SizeReason.PACKS
        row = Row(
            place=self.place,
            number=len(self.rows),
            key=key,
            start=day - (self.way.lead if packs is None else packs.delivery_days),
            usable=day,
            due=FOREVER,
            mass=size if packs is None else packs.mass,
            base=0,
            rank=SOFT,
            reason=reason,
            good=day,
            end=min(day + self.way.keeps, FOREVER),
            packs=packs,
            soft=soft,
        )
        self.rows.append(row)
        row.spare = row.mass
        for one in entries:
            self._give(row, one, day)
        row.base = row.mass - row.spare + min(gap, row.spare)
        if self.level is not None:
            self.level.note(day, row.spare)
        if row.spare:
            self._hand_on(row)
        if row.spare and self.level is not None:
            row.par = True
            row.good = max(row.good, min(row.end, self.frame.horizon))
            self._note(row.end + 1, -row.spare)
        row.due = min(row.due, day)

    def _give(self, row: Row, one: Waiting, at: int) -> int:
        """Serve a waiting need from a row, as far as both go; how much."""
        taken = min(row.spare, one[1])
        if not taken:
            return 0
        need = self.needs[one[0]]
        row.spare -= taken
        one[1] -= taken
        row.due = min(row.due, need.due)
        row.rank = min(row.rank, need.rank)
        row.good = max(row.good, need.until, at)
        self.takes.append(Take(need, at, taken, row))
        return taken

    def _hand_on(self, row: Row) -> None:
        """What a row holds beyond its day goes to the needs that wait for later days, while it is good."""
        expected_end = self.runs.get(row.usable, row.usable)
        for day in sorted(self.buckets):
            if day > row.end or not row.spare:
                return
            for one in sorted(self.buckets[day]):
                need = self.needs[one[0]]
                if need.until > row.end:
                    continue
                at = max(need.day, row.usable)
                taken = self._give(row, one, at)
                self.waiting[day] -= taken
                self._note(at, -taken)
                if taken and day > expected_end:
                    self.runs.clear()

    def _packs(self, day: int, size: int) -> Packs | None:
        if not self.way.offers:
            return None
        return cheapest_packs(on_time(self.way.offers, day - self.frame.today), size)

    def _key(self, day: int) -> str:
        sort = "buy" if self.way.offers else "make"
        same = sum(row.usable == day for row in self.rows)
        suffix = f":{same + 1}" if same else ""
        return f"{sort}:{self.way.item.key}:{date.fromordinal(day).isoformat()}{suffix}"
