"""The batch ticket as PDF and as rows."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from batches.papers.printing import Copy, Told, printed, silent, written
from batches.papers.square_codes import code_address
from batches.queries.tickets import Ticket, TicketLine
from inventory.calc.pictograms import pictograms_of
from studio.kernel.mass import ZERO_MASS

COVERAGE = 2
"""Factor of the expanded uncertainty: about 95 % of a normal distribution (GUM 6.3.3)."""
COLUMNS = (
    "batch", "position", "material", "lot", "lot_title", "strength", "shelf", "supplier_lot", "target", "smallest",
    "largest", "weighed", "deviation", "weighing", "by", "at", "balance", "balance_last_passed_check", "struck_by",
    "struck_because", "vial",
)  # fmt: skip


def print_ticket(ticket: Ticket, copy: Copy, told: Told = silent) -> bytes:
    """The PDF: what to pour, or after closing what was poured."""
    return printed(ticket_html(ticket, copy), style="paper.css", told=told)


def ticket_html(ticket: Ticket, copy: Copy) -> str:
    """The ticket before it is laid out."""
    made = ticket.made
    target = sum((line.target for line in ticket.lines), ZERO_MASS)
    weighed = sum((line.weighed for line in ticket.lines), ZERO_MASS)
    context = {
        "ticket": ticket,
        "copy": copy,
        "closed": ticket.state == "closed",
        "lines": [(line, code_address(line.link)) for line in ticket.lines],
        "pictograms": pictograms_of(one.code for one in ticket.cautions.cautions),
        "total_target": target,
        "total_weighed": weighed,
        "total_share": weighed / target if weighed else None,
        "made_code": code_address(made.link) if made else "",
        "made_doubt": _doubt(made.strength_uncertainty) if made else None,
        "contents": [(part, _doubt(part.uncertainty)) for part in made.contents] if made else [],
        "vials": [(vial, _doubt(vial.strength_uncertainty)) for vial in ticket.vials],
        "still_to_weigh": ticket.state in ("draft", "reserved", "weighing"),
    }
    return written("ticket.html", context)


def _doubt(standard_uncertainty: Decimal | None) -> Decimal | None:
    """The expanded uncertainty, as the pages show it."""
    return None if standard_uncertainty is None else COVERAGE * standard_uncertainty


def ticket_rows(ticket: Ticket) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`: one for each weighing, and one for each line without any."""
    for line in ticket.lines:
        head = _line(ticket, line)
        if not line.weighings:
            yield (*head, None, None, None, None, None, None, None, line.vial)
        for weighing in line.weighings:
            yield (
                *head,
                weighing.mass,
                weighing.by,
                weighing.at,
                weighing.balance,
                weighing.balance_check_at,
                weighing.struck_by,
                weighing.struck_because,
                line.vial,
            )


def _line(ticket: Ticket, line: TicketLine) -> tuple[Any, ...]:
    return (
        ticket.number,
        line.position,
        line.material,
        line.lot,
        line.title,
        line.strength,
        line.shelf,
        line.supplier_lot,
        line.target,
        line.smallest,
        line.largest,
        line.weighed,
        line.deviation,
    )
