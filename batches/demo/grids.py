"""The grid of the demo studio: planned from stocks of both sides, weighed, one vial made anew, and closed."""

from decimal import Decimal

from batches.actions.closing import Filled, close_batch
from batches.actions.grid_cells import make_vial_anew
from batches.actions.grids import draft_grid
from batches.actions.reserving import reserve_batch
from batches.calc.grid import Ratio
from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.pouring import Pouring, pour
from batches.demo.sheets import Told, number
from batches.models import Batch


def make_grid(told: Told, named: Named, days: Days, *, connected: bool) -> Batch:
    """Everything that is told of a grid, from its plan to its vials."""
    by, balance = named.members[told["by"]], named.balances[told["balance"]]
    batch = draft_grid(
        by=by,
        now=days.work(10),
        side_a=[named.lot(reference) for reference in told["side_a"]],
        side_b=[named.lot(reference) for reference in told["side_b"]],
        ratios=[Ratio(*(Decimal(part) for part in text.split(":"))) for text in told["ratios"]],
        vial_mass=Decimal(told["vial_mass_g"]),
        balance=balance,
        title=told["title"],
        note=told["note"],
    )
    reserve_batch(by=by, now=days.work(2), number=batch.number)
    usual = [Decimal(text) for text in told["deviations_g"]]
    pouring = Pouring(
        by=by,
        balance=balance,
        connected=connected,
        deviations={},
        other_deviations=usual,
    )
    pour(batch=batch, pouring=pouring, days=days)
    poured = batch.lines.count()
    for spoilt in told["anew"]:
        make_vial_anew(by=by, now=days.work(2), number=batch.number, vial=spoilt["vial"], why=spoilt["why"])
    pour(batch=batch, pouring=pouring, days=days, after=poured)
    filled = Filled(
        tare=number(told["tare_g"]), capacity_ml=number(told["capacity_ml"]), shelf=named.shelf(told["shelf"])
    )
    return close_batch(by=by, now=days.work(3), number=batch.number, filled=filled)
