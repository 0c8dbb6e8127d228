"""Lent lots that should be back."""

from datetime import datetime

from inventory.calc.alert_causes import overdue_loan
from inventory.queries.sharing import loans_of
from studio.kernel.causes import Cause
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """One cause for each such loan; one statement."""
    rows = loans_of(studio).filter(returned_at=None, due_on__lt=now.date()).order_by("due_on", "id")
    return [
        overdue_loan(
            loan=loan.pk,
            number=loan.lot.number,
            title=loan.lot.title,
            borrower=str(loan.borrower),
            keeper=str(loan.lot.keeper or ""),
            due_on=loan.due_on,
            mass_out=loan.mass_out,
        )
        for loan in rows
    ]
