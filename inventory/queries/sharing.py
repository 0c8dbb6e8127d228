"""Who asks whom for what, who has what of others, and who used whose."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Count, F, Q, Sum

from inventory.models import PASSING_ON, Loan, Lot, LotRequest, Movement, RequestState
from studio.kernel.mass import ZERO_MASS
from studio.models import Member, Role, ScopedQuerySet, Studio

USE_DAYS = 90
"""How far back the account of who used whose looks: a season's work."""


@dataclass(frozen=True, slots=True)
class Holding:
    """What one member keeps and has borrowed: open lots and grams on hand, and loans not brought back."""

    member: Member
    lots: int
    mass: Decimal
    borrowed: int


@dataclass(frozen=True, slots=True)
class Use:
    """What one member took of another's lots by the ledger, in grams, and how many times."""

    keeper: str
    user: str
    mass: Decimal
    times: int


def requests_of(studio: Studio) -> ScopedQuerySet[LotRequest]:
    """All requests with the names a list shows; one statement."""
    return LotRequest.objects.of(studio).select_related(
        "lot__keeper__person", "asker__person", "answered_by__person", "given"
    )


def loans_of(studio: Studio) -> ScopedQuerySet[Loan]:
    """All loans with the names a list shows; one statement."""
    return Loan.objects.of(studio).select_related(
        "lot__keeper__person", "borrower__person", "lender__person", "returned_by__person"
    )


def to_answer(member: Member) -> list[LotRequest]:
    """Open requests that wait for this member's word, oldest first; one statement."""
    mine = Q(lot__keeper=member)
    if member.role == Role.OWNER:
        mine |= Q(lot__keeper__left_at__isnull=False)
    return list(requests_of(member.studio).filter(mine, state=RequestState.OPEN).order_by("id"))


def asked_by(member: Member, since: datetime) -> list[LotRequest]:
    """What this member asked that is open, or was answered since; one statement."""
    recent = Q(state=RequestState.OPEN) | Q(answered_at__gte=since)
    return list(requests_of(member.studio).filter(recent, asker=member).order_by("-id"))


def open_loans(studio: Studio) -> list[Loan]:
    """Loans not brought back, the first due first; one statement."""
    return list(loans_of(studio).filter(returned_at=None).order_by("due_on", "id"))


def overdue(loans: Iterable[Loan], today: date) -> list[Loan]:
    """Those of the loans that should be back by now."""
    return [loan for loan in loans if loan.returned_at is None and loan.due_on < today]


def loan_of(lot: Lot) -> Loan | None:
    """The loan a lot is out on, if it is; one statement."""
    return Loan.objects.filter(lot=lot, returned_at=None).select_related("borrower__person").first()


def holdings(studio: Studio, members: Iterable[Member]) -> list[Holding]:
    """What each of the members holds; two statements."""
    kept = {
        keeper: (lots, mass)
        for keeper, lots, mass in Lot.objects.of(studio)
        .open()
        .filter(keeper__isnull=False)
        .values("keeper_id")
        .annotate(lots=Count("id"), mass=Sum("on_hand"))
        .order_by("keeper_id")
        .values_list("keeper_id", "lots", "mass")
    }
    borrowed = dict(
        Loan.objects.of(studio)
        .filter(returned_at=None)
        .values("borrower_id")
        .annotate(loans=Count("id"))
        .order_by("borrower_id")
        .values_list("borrower_id", "loans")
    )
    return [
        Holding(member, *kept.get(member.pk, (0, ZERO_MASS)), borrowed.get(member.pk, 0))
        for member in members
    ]


def uses(studio: Studio, now: datetime) -> list[Use]:
    """Who took how much of whose lots in the last `USE_DAYS` days, most first; one statement.

    A lot counts for who keeps it today; what its own keeper took of it does not count.
    """
    rows = (
        Movement.objects.of(studio)
        .filter(
            at__gte=now - timedelta(days=USE_DAYS),
            reason__in=PASSING_ON,
            source__keeper__isnull=False,
            reverses=None,
        )
        .exclude(source__keeper=F("by"))
        .values(keeper=F("source__keeper__person__name"), user=F("by__person__name"))
        .annotate(mass=Sum("mass"), times=Count("id"))
        .order_by("-mass", "source__keeper_id", "by_id")
    )
    return [Use(**row) for row in rows]
