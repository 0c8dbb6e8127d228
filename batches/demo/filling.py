"""Filling the demo studio: everything that its sheets tell is done in the order of its days, all of it or nothing.

It goes through the actions that the API and the pages use, so what stands in it afterwards is what a studio would
have that had done the same. Nothing is written past them.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial

from batches.actions.formulas import WrittenLine, adopt_as_base, write_formula, write_next_version
from batches.demo.days import Days
from batches.demo.founding import found
from batches.demo.grids import make_grid
from batches.demo.making import Bench
from batches.demo.named import Named
from batches.demo.panels import hold_panel
from batches.demo.sheets import Cells, Sheets, Told, number, whole
from batches.demo.smelling import smell, smell_blind
from batches.demo.wanting import note_suppliers, set_demo_pars
from batches.models import FormulaVersion
from inventory.actions.counting import count_lot
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.places import check_balance
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import Lot
from studio.kernel.work import work

WANTED_DAYS_AGO = 18
"""When the studio began to write down what it wants on the shelf; its base was adopted before."""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class _Event:
    """Something that was done a number of days ago; events of one day happen in the order they are listed in."""

    days_ago: int
    do: Callable[[], object]


def fill_demo_studio(*, now: datetime, sheets: Sheets, password: str, say: Say = lambda _: None) -> Named:
    """Found the studio and do everything that is told of it, in one transaction.

    `now` is the real time; the work is spread over the days before it. Everybody signs in with `password`. Raises
    whatever an action refuses, `EmailTaken` first of all when there is a demo studio already.
    """
    days = Days(now)
    with work():
        named = found(sheets=sheets, days=days, password=password)
        say(f"{named.owner.studio}: {len(named.members)} people, {len(named.materials)} materials.")
        bench = Bench(named=named, days=days, scenario=sheets.scenario, say=say)
        events = [*_shelf_events(sheets, named, days), *_bench_events(sheets, named, days, bench)]
        for event in sorted(events, key=lambda event: -event.days_ago):
            days.begin(event.days_ago)
            event.do()
        say(f"{len(named.bottles)} bottles, {len(named.stocks)} stocks, {len(named.batches)} more batches.")
    return named


def _shelf_events(sheets: Sheets, named: Named, days: Days) -> Iterator[_Event]:
    """Morning work: balances checked, bottles received."""
    for check in sheets.balance_checks:
        yield _Event(int(check["days_ago"]), partial(_check, check, named, days))
    deliveries: dict[int, list[Cells]] = {}
    for cells in sheets.bottles:
        deliveries.setdefault(int(cells["received_days_ago"]), []).append(cells)
    for day, rows in deliveries.items():
        yield _Event(day, partial(_receive, rows, named, days))


def _bench_events(sheets: Sheets, named: Named, days: Days, bench: Bench) -> Iterator[_Event]:
    """The work of the day: formulas written, stocks and batches made, and what then happens to their lots."""
    told = sheets.scenario
    for formula in sheets.formulas:
        yield _Event(formula["written_days_ago"], partial(_write, formula, named, days))
        if "next_version" in formula:
            later = formula["next_version"]
            yield _Event(later["days_ago"], partial(_write_next, formula, named, days))
    for cells in sheets.stocks:
        yield _Event(int(cells["made_days_ago"]), partial(_make_stock, cells, named, bench))
    for batch in told["batches"]:
        yield _Event(batch["days_ago"], partial(bench.make, batch))
    for grid in told["grids"]:
        yield _Event(grid["days_ago"], partial(_make_grid, grid, named, days, bench))
    yield _Event(WANTED_DAYS_AGO, partial(note_suppliers, told["suppliers"], sheets.offers, named, days))
    yield _Event(WANTED_DAYS_AGO, partial(set_demo_pars, told["pars"], named, days))
    for drawing in told["draw_offs"]:
        yield _Event(drawing["days_ago"], partial(_draw_off, drawing, named, days))
    for strip in told.get("strips", []):
        yield _Event(strip["days_ago"], partial(smell, strip, named, days))
    for blind in told.get("blind_sets", []):
        yield _Event(blind["days_ago"], partial(smell_blind, blind, named, days))
    for count in told["counts"]:
        yield _Event(count["days_ago"], partial(_count, count, named, days))
    for panel in told["panels"]:
        yield _Event(panel["days_ago"], partial(hold_panel, panel, named, days))
    for hold in told["holds"]:
        yield _Event(hold["days_ago"], partial(_hold, hold, named, days))


def _check(cells: Cells, named: Named, days: Days) -> None:
    check_balance(
        by=named.members[cells["by"]],
        now=days.work(4),
        balance=named.balances[cells["balance"]],
        reference=Decimal(cells["reference_g"]),
        reading=Decimal(cells["reading_g"]),
        allowed_error=Decimal(cells["allowed_error_g"]),
    )


def _receive(rows: list[Cells], named: Named, days: Days) -> None:
    now = days.work(15)
    named.bottles += receive_bottles(
        by=named.owner, now=now, bottles=[_bottle(cells, named, days) for cells in rows]
    )


def _bottle(cells: Cells, named: Named, days: Days) -> Bottle:
    expires_in = whole(cells["expires_in_days"])
    return Bottle(
        material=named.materials[cells["material"]],
        mass=Decimal(cells["mass_g"]),
        strength=Decimal(cells["strength"]),
        solvent=named.solvent(cells["solvent"]),
        purity=number(cells["purity"]),
        tare=number(cells["tare_g"]),
        capacity_ml=number(cells["capacity_ml"]),
        supplier=cells["supplier"],
        supplier_lot=cells["supplier_lot"],
        price=number(cells["price"]),
        expires_on=None if expires_in is None else days.today.date() + timedelta(days=expires_in),
        shelf=named.shelf(cells["shelf"]),
        keeper=named.member(cells["keeper"]),
    )


def _write(told: Told, named: Named, days: Days) -> None:
    by = named.members[told["by"]]
    version = write_formula(
        by=by,
        now=days.work(40),
        code=told["code"],
        name=told["name"],
        note=told["note"],
        lines=_lines(told, {}, named),
    )
    if told["adopt_as_base"]:
        base = adopt_as_base(by=by, now=days.work(10), version=version)
        named.materials[base.name] = base
    named.formulas[told["code"]] = FormulaVersion.objects.select_related("formula").get(pk=version.pk)


def _write_next(told: Told, named: Named, days: Days) -> None:
    later = told["next_version"]
    named.formulas[told["code"]] = write_next_version(
        by=named.members[later["by"]],
        now=days.work(20),
        formula=named.formulas[told["code"]].formula,
        lines=_lines(told, later["parts"], named),
        note=later["note"],
    )


def _lines(told: Told, other_parts: dict[str, str], named: Named) -> list[WrittenLine]:
    """The lines as written, with the parts of some materials replaced."""
    return [
        WrittenLine(
            material=named.materials[line["material"]],
            parts=Decimal(other_parts.get(line["material"], line["parts"])),
            strength=Decimal(line["strength"]),
            solvent=named.solvent(line["solvent"]),
        )
        for line in told["lines"]
    ]


def _make_stock(cells: Cells, named: Named, bench: Bench) -> None:
    named.stocks[cells["key"]] = bench.make_stock(cells)


def _make_grid(told: Told, named: Named, days: Days, bench: Bench) -> None:
    connected = bench.connected[told["balance"]]
    made = make_grid(told, named, days, connected=connected)
    named.batches[told["key"]] = made
    for cell in made.cells.standing().select_related("made").order_by("number", "id"):
        if cell.made is not None:
            named.vials[f"{told['key']} {cell.number}"] = cell.made


def _draw_off(told: Told, named: Named, days: Days) -> None:
    container = Container(
        title=told["title"],
        tare=number(told["tare_g"]),
        capacity_ml=number(told["capacity_ml"]),
        shelf=named.shelf(told["shelf"]),
        keeper=named.member(told["keeper"]),
    )
    named.vials[told["title"]] = draw_off(
        by=named.members[told["by"]],
        now=days.work(5),
        number=named.lot(told["from"]).number,
        mass=Decimal(told["mass_g"]),
        container=container,
    )


def _count(told: Told, named: Named, days: Days) -> None:
    lot = Lot.objects.get(pk=named.lot(told["of"]).pk)
    if lot.tare is None:
        raise LookupError(f"{told['of']} has no tare in its sheet, so it cannot be counted.")
    count_lot(
        by=named.members[told["by"]],
        now=days.work(6),
        number=lot.number,
        gross=lot.tare + lot.on_hand - Decimal(told["lost_g"]),
        loss=told["loss"],
        why=told["why"],
    )


def _hold(told: Told, named: Named, days: Days) -> None:
    lot = named.lot(told["of"])
    hold_lots(by=named.members[told["by"]], now=days.work(3), lot_ids=[lot.id], why=told["why"])
