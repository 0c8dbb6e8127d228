"""What wants doing in a studio today, by urgency: a fixed number of statements, each bounded to what a page shows."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from batches.models import Batch, BatchLine, BatchState, FormulaVersion, Weighing
from batches.queries.batches import batches_of
from inventory.models import Balance, Claim, ClaimState, Lot, Material
from inventory.queries.finding import SOON
from inventory.queries.shelf import StandingClaim, balances_of, claims_on, due_for_check, lots_of
from studio.models import Studio

SHOWN = 8
IN_HAND = (BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING)


@dataclass(frozen=True, slots=True)
class FirstSteps:
    """Which of the three first steps a studio has taken."""

    materials: bool
    bottles: bool
    formulas: bool

    @property
    def all_taken(self) -> bool:
        return self.materials and self.bottles and self.formulas


@dataclass(frozen=True, slots=True)
class Today:
    """Everything the page shows; of each list at most `SHOWN`, and whether there is more."""

    steps: FirstSteps
    in_hand: list[Batch]
    short: list[StandingClaim]
    expiring: list[Lot]
    more_expiring: bool
    held: list[Lot]
    more_held: bool
    checks_due: list[Balance]
    records: list[Batch]

    @property
    def nothing_urgent(self) -> bool:
        return not (self.short or self.expiring or self.held or self.checks_due)


def today_in(studio: Studio, now: datetime) -> Today:
    """The state of a studio at `now`. Nine statements, eleven when a claim falls short."""
    lots = lots_of(studio).filter(emptied_at__isnull=True)
    ending = lots.filter(expires_on__lte=now.date() + SOON).order_by("expires_on", "id")
    expiring = list(ending[: SHOWN + 1])
    held = list(lots.filter(held_at__isnull=False).order_by("-held_at", "id")[: SHOWN + 1])
    balances = balances_of(studio).order_by("name", "id")
    records = batches_of(studio).filter(state=BatchState.CLOSED).order_by("-id")[:SHOWN]
    return Today(
        steps=first_steps(studio),
        in_hand=list(_in_hand(studio)[:SHOWN]),
        short=_short(studio),
        expiring=expiring[:SHOWN],
        more_expiring=len(expiring) > SHOWN,
        held=held[:SHOWN],
        more_held=len(held) > SHOWN,
        checks_due=due_for_check(balances, now),
        records=list(records),
    )


def first_steps(studio: Studio) -> FirstSteps:
    """Three statements."""
    return FirstSteps(
        materials=Material.objects.of(studio).exists(),
        bottles=Lot.objects.of(studio).exists(),
        formulas=FormulaVersion.objects.of(studio).exists(),
    )


def _in_hand(studio: Studio) -> QuerySet[Batch]:
    lines = BatchLine.objects.filter(batch=OuterRef("pk")).order_by().values("batch")
    poured = Weighing.objects.filter(batch=OuterRef("pk")).standing().order_by().values("batch")
    return (
        batches_of(studio)
        .filter(state__in=IN_HAND)
        .annotate(
            line_count=Coalesce(Subquery(lines.annotate(n=Count("pk")).values("n")), 0),
            poured_count=Coalesce(Subquery(poured.annotate(n=Count("line", distinct=True)).values("n")), 0),
        )
        .order_by("-id")
    )


def _short(studio: Studio) -> list[StandingClaim]:
    """Claims that the lots they are on no longer cover. One statement when there are none, three otherwise.

    It sets out from the open claims, of which there are few, not from the lots.
    """
    over = Claim.objects.of(studio).filter(Q(state=ClaimState.OPEN), lot__reserved__gt=F("lot__on_hand"))
    lots = list(over.order_by("lot_id").values_list("lot_id", flat=True).distinct()[:SHOWN])
    if not lots:
        return []
    standing = claims_on(Lot.objects.filter(pk__in=lots).order_by("id"))
    return [one for one in standing if one.short > 0]
