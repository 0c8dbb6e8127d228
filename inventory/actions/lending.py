"""Lending a lot until a day, and taking it back by weighing it."""

from datetime import date, datetime
from decimal import Decimal

from inventory.actions.counting import count_lot
from inventory.actions.keeping import refuse_other_than_keeper
from inventory.actions.ledger import lock_lots, refuse_held
from inventory.calc.alert_causes import OVERDUE_LOAN
from inventory.models import Loan, Lot, LotRequest
from studio.actions.alerts import close_alert
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.work import work
from studio.models import Member


class LentAlready(Conflict):
    """The lot is with somebody else until it is brought back."""

    code = "lent-already"
    title = "Lent already"


class ReturnedAlready(Conflict):
    """The loan has ended before."""

    code = "returned-already"
    title = "Brought back already"


class BadLoan(Invalid):
    """A loan to its own keeper, or one that ends before it begins."""

    code = "bad-loan"
    title = "This cannot be lent"


def lend(
    *, by: Member, now: datetime, lot: Lot, to: Member, due_on: date, request: LotRequest | None = None
) -> Loan:
    """Give a lot into another's hands until a day. A lot of the studio's is lent by anybody, also to oneself.

    Raises `NotTheKeeper`, `LentAlready`, `LotOnHold`, `BadLoan`.
    """
    refuse_other_than_keeper(lot, by)
    if lot.keeper_id == to.id:
        raise BadLoan(f"{to} keeps this lot already.", errors={"to": ["The keeper has it already."]})
    if due_on < now.date():
        raise BadLoan(
            f"{due_on} is over; a loan ends today or later.", errors={"until": ["Today or a later day."]}
        )
    with work():
        locked = lock_lots(studio=by.studio, ids=[lot.id])[lot.id]
        refuse_held([locked])
        present = Loan.objects.filter(lot=locked, returned_at=None).select_related("borrower__person").first()
        if present is not None:
            raise LentAlready(f"{present.borrower} has lot {lot.number} until {present.due_on}.")
        loan = Loan.objects.create(
            studio_id=by.studio_id,
            lot=locked,
            borrower=to,
            lender=by,
            request=request,
            due_on=due_on,
            lent_at=now,
            mass_out=locked.on_hand,
        )
        record(
            by=by,
            at=now,
            subject="lot",
            name=lot.number,
            verb="lent",
            changes={"with": [None, to], "until": [None, due_on]},
        )
    return loan


def take_back(
    *,
    by: Member,
    now: datetime,
    loan_id: int,
    gross: Decimal,
    tare: Decimal | None = None,
    expected: int | None = None,
) -> Loan:
    """End a loan by weighing the lot back: what is missing is booked as used by the borrower.

    `gross` is the container with what is in it, in grams. Raises `ReturnedAlready` and what counting refuses.
    """
    with work():
        rows = Loan.objects.select_for_update(no_key=True, of=("self",)).select_related(
            "lot", "borrower__person"
        )
        loan: Loan = rows.one(by.studio, "loan", id=loan_id)
        refuse_stale(loan, expected, f"Loan {loan_id}")
        if loan.returned_at is not None:
            raise ReturnedAlready(f"Lot {loan.lot.number} was brought back before.")
        count = count_lot(
            by=by,
            now=now,
            number=loan.lot.number,
            gross=gross,
            tare=tare,
            why=f"Used by {loan.borrower} on loan.",
        )
        loan.returned_at, loan.returned_by, loan.mass_back = now, by, count.found
        loan.edition += 1
        loan.save(update_fields=["returned_at", "returned_by", "mass_back", "edition"])
        close_alert(studio=by.studio_id, at=now, kind=OVERDUE_LOAN, key=str(loan.pk))
        record(
            by=by,
            at=now,
            subject="lot",
            name=loan.lot.number,
            verb="brought back",
            changes={"on_hand": [loan.mass_out, loan.mass_back], "with": [loan.borrower, None]},
        )
    return loan
