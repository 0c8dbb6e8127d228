"""What the passes found, told in dates and grams: rows with their inputs and pegs, shortages, waste, the order of work."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

from batches.calc.remake_book import Need, Netted, Row, Take, Unmet
from batches.calc.remake_days import Task, order_of_work
from batches.calc.remake_passes import input_masses
from batches.calc.remake_request import RemakeRequest
from batches.calc.remake_result import (
    Allotment,
    LateDemand,
    MakingDay,
    MakingRow,
    PackCount,
    Peg,
    PegSort,
    PurchaseRow,
    RemakePlan,
    RowInput,
    RunsShort,
    Shortage,
    Source,
    SourceSort,
    WastefulExpiry,
)
from batches.calc.remake_ways import FOREVER, Lack, Ways
from studio.kernel.mass import from_micrograms


def told(request: RemakeRequest, ways: Ways, netted: Sequence[Netted]) -> RemakePlan:
    """The plan as it is handed out."""
    return _Telling(request, ways, netted).plan()


class _Telling:
    def __init__(self, request: RemakeRequest, ways: Ways, netted: Sequence[Netted]) -> None:
        self.request = request
        self.ways = ways
        self.netted = netted
        self.names = [way.item.name for way in ways.ways]
        self._days: dict[int, date] = {}
        self.pegs: dict[tuple[int, int], list[Peg]] = {}
        self.sources: dict[tuple[int, int, int], list[Source]] = {}
        self.allotments: list[Allotment] = []
        self.late: list[LateDemand] = []

    def plan(self) -> RemakePlan:
        for place, found in enumerate(self.netted):
            for take in found.takes:
                self._tell_take(place, take)
            self._tell_late(place, found)
        rows = [
            (row, found) for place in self.ways.order for found in (self.netted[place],) for row in found.rows
        ]
        rows.sort(
            key=lambda each: (each[0].start, -self.ways.levels[each[0].place], each[0].place, each[0].number)
        )
        makings = tuple(self._making(row) for row, _ in rows if row.packs is None)
        return RemakePlan(
            today=self.request.today,
            until=self.request.until,
            makings=makings,
            purchases=tuple(self._purchase(row) for row, _ in rows if row.packs is not None),
            shortages=tuple(self._shortages()),
            late=tuple(sorted(self.late, key=lambda one: (one.day, one.item.place, one.ref))),
            expiries=tuple(sorted(self._expiries(), key=lambda one: (one.expires_on, one.item.place))),
            runs_short=tuple(sorted(self._runs_short(), key=lambda one: (one.day, one.item.place))),
            allotments=tuple(self.allotments),
            days=tuple(self._making_days(makings)),
            levels=dict(zip(self.ways.keys, self.ways.levels, strict=True)),
        )

    def _day(self, ordinal: int) -> date:
        day = self._days.get(ordinal)
        if day is None:
            day = self._days[ordinal] = date.fromordinal(ordinal)
        return day

    def _end(self, ordinal: int) -> date | None:
        return None if ordinal >= FOREVER // 2 else self._day(ordinal)

    # Who gets what from where

    def _tell_take(self, place: int, take: Take) -> None:
        need, source = take.need, take.source
        mass = from_micrograms(take.mass)
        peg = self._peg(need, mass)
        if isinstance(source, Row):
            self.pegs.setdefault((place, source.number), []).append(peg)
            told_source = Source(SourceSort.ROW, source.key, self._row_label(source), mass)
        else:
            told_source = Source(source.sort, source.ref, source.label, mass)
            self.allotments.append(Allotment(told_source, self.ways.keys[place], peg))
        if need.demand is None:
            self.sources.setdefault((need.user, need.row, place), []).append(told_source)

    def _row_label(self, row: Row) -> str:
        return f"{'made' if row.packs is None else 'ordered'} on {self._day(row.start)}"

    def _peg(self, need: Need, mass: Decimal) -> Peg:
        demand = need.demand
        if demand is not None:
            return Peg(PegSort(demand.wanted.value), demand.ref, demand.label, demand.day, mass)
        row = self.netted[need.user].rows[need.row]
        label = f"making {self.names[need.user]}"
        return Peg(PegSort.ROW, row.key, label, self._day(row.start), mass)

    def _par_peg(self, place: int, day: int, mass: int) -> Peg:
        key = str(self.ways.keys[place])
        return Peg(PegSort.PAR, key, f"the par of {self.names[place]}", self._day(day), from_micrograms(mass))

    def _pegs_of(self, row: Row) -> tuple[Peg, ...]:
        pegs = sorted(
            self.pegs.get((row.place, row.number), ()), key=lambda peg: (peg.day, peg.sort, peg.ref)
        )
        if row.spare and row.par:
            pegs.append(self._par_peg(row.place, row.usable, row.spare))
        elif row.spare:
            mass = from_micrograms(row.spare)
            pegs.append(Peg(PegSort.SPARE, "", "nothing known", self._day(row.usable), mass))
        return tuple(pegs)

    # Rows

    def _making(self, row: Row) -> MakingRow:
        way = self.ways.ways[row.place]
        inputs = tuple(
            self._input(row, portion.item, mass)
            for portion, mass in zip(way.inputs, input_masses(way, row.mass), strict=True)
        )
        start_by = min(row.due - way.lead, row.start)
        return MakingRow(
            key=row.key,
            item=self.ways.keys[row.place],
            name=self.names[row.place],
            mass=from_micrograms(row.mass),
            start_by=self._day(start_by),
            start_on=self._day(row.start),
            usable_on=self._day(row.usable),
            needed_on=self._day(start_by + way.lead),
            expires_on=self._end(row.usable + way.lives),
            good_for=self._day(row.good),
            late=start_by < row.start,
            why_so_much=row.reason,
            inputs=inputs,
            pegs=self._pegs_of(row),
            level=self.ways.levels[row.place],
        )

    def _input(self, row: Row, item: int, mass: int) -> RowInput:
        sources = tuple(self.sources.get((row.place, row.number, item), ()))
        return RowInput(self.ways.keys[item], self.names[item], from_micrograms(mass), sources)

    def _purchase(self, row: Row) -> PurchaseRow:
        packs = row.packs
        assert packs is not None
        order_by = min(row.due - packs.delivery_days, row.start)
        counts = tuple(
            PackCount(offer.id, offer.pack, count, offer.price, offer.price * count)
            for offer, count in packs.counts
        )
        return PurchaseRow(
            key=row.key,
            item=self.ways.keys[row.place],
            name=self.names[row.place],
            supplier=packs.supplier,
            supplier_name=packs.counts[0][0].supplier_name,
            packs=counts,
            mass=from_micrograms(row.mass),
            cost=packs.cost,
            order_by=self._day(order_by),
            order_on=self._day(row.start),
            arrives_on=self._day(row.usable),
            needed_on=self._day(order_by + packs.delivery_days),
            expires_on=self._end(row.usable + self.ways.ways[row.place].lives),
            late=order_by < row.start,
            why_so_much=row.reason,
            pegs=self._pegs_of(row),
            level=self.ways.levels[row.place],
        )

    # What goes wrong

    def _tell_late(self, place: int, found: Netted) -> None:
        late: dict[Need, tuple[int, int]] = {}
        for take in found.takes:
            if take.at > take.need.day and take.need.demand is not None:
                mass, at = late.get(take.need, (0, 0))
                late[take.need] = (mass + take.mass, max(at, take.at))
        for one in found.unmet:
            if one.need is not None and one.need.demand is not None:
                late[one.need] = (late.get(one.need, (0, 0))[0] + one.mass, FOREVER)
        for need, (total, ready) in late.items():
            peg = self._peg(need, from_micrograms(total))
            self.late.append(
                LateDemand(
                    peg.sort,
                    peg.ref,
                    peg.label,
                    self.ways.keys[place],
                    self.names[place],
                    peg.day,
                    peg.mass,
                    self._end(ready),
                )
            )

    def _shortages(self) -> Iterable[Shortage]:
        for place in self.ways.order:
            groups: dict[tuple[int, Lack], list[Unmet]] = {}
            for one in self.netted[place].unmet:
                groups.setdefault((one.day, one.lack), []).append(one)
            for (day, lack), several in sorted(
                groups.items(), key=lambda each: (each[0][0], each[0][1].path)
            ):
                yield self._shortage(place, day, lack, several)

    def _shortage(self, place: int, day: int, lack: Lack, several: Sequence[Unmet]) -> Shortage:
        pegs = [
            self._par_peg(place, day, one.mass)
            if one.need is None
            else self._peg(one.need, from_micrograms(one.mass))
            for one in several
        ]
        return Shortage(
            item=self.ways.keys[place],
            name=self.names[place],
            day=self._day(day),
            mass=from_micrograms(sum(one.mass for one in several)),
            obstacle=lack.obstacle,
            for_want_of=self.ways.keys[lack.path[-1]],
            path=tuple(self.names[one] for one in lack.path),
            pegs=tuple(pegs),
        )

    def _expiries(self) -> Iterable[WastefulExpiry]:
        first, last = self.request.today.toordinal(), self.request.until.toordinal()
        for place, found in enumerate(self.netted):
            for supply in found.supplies:
                if supply.left and first <= supply.end <= last:
                    source = Source(supply.sort, supply.ref, supply.label, from_micrograms(supply.left))
                    yield WastefulExpiry(
                        source, self.ways.keys[place], self.names[place], self._day(supply.end)
                    )
            for row in found.rows:
                if row.spare and row.end <= last:
                    source = Source(SourceSort.ROW, row.key, self._row_label(row), from_micrograms(row.spare))
                    yield WastefulExpiry(source, self.ways.keys[place], self.names[place], self._day(row.end))

    def _runs_short(self) -> Iterable[RunsShort]:
        for place, found in enumerate(self.netted):
            if found.first_short is not None:
                need, missing = found.first_short
                mass = from_micrograms(missing)
                yield RunsShort(
                    self.ways.keys[place], self.names[place], self._day(need.day), mass, self._peg(need, mass)
                )

    # The order of work

    def _making_days(self, makings: Sequence[MakingRow]) -> Iterable[MakingDay]:
        by_day: dict[date, list[MakingRow]] = {}
        for row in makings:
            by_day.setdefault(row.start_on, []).append(row)
        for day in sorted(by_day):
            here = {row.key for row in by_day[day]}
            order = order_of_work([_task(row, here) for row in by_day[day]])
            yield MakingDay(day, order.keys, order.times_in_hand, order.exact)


def _task(row: MakingRow, here: set[str]) -> Task:
    sources = [source for one in row.inputs for source in one.sources]
    made = frozenset(source.ref for source in sources if source.sort is SourceSort.ROW and source.ref in here)
    containers = frozenset(f"{source.sort}:{source.ref}" for source in sources)
    return Task(row.key, containers, made)
