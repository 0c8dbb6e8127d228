"""What wants doing in a studio today, by urgency: a fixed number of statements, each bounded to what a page shows."""

from dataclasses import dataclass

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from batches.models import Batch, BatchLine, BatchState, FormulaVersion, Weighing
from batches.queries.batches import batches_listed
from inventory.models import Lot, Material
from studio.models import Alert, Studio
from studio.queries.alerts import alerts_in_state

SHOWN = 8
ALERTS_SHOWN = 20
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
    """Everything the page shows; of each list so many at most, of alerts the most urgent."""

    steps: FirstSteps
    in_hand: list[Batch]
    alerts: list[Alert]
    more_alerts: bool
    records: list[Batch]


def today_in(studio: Studio) -> Today:
    """The state of a studio. Six statements."""
    alerts = list(alerts_in_state(studio, "")[: ALERTS_SHOWN + 1])
    records = batches_listed(studio).filter(state=BatchState.CLOSED).order_by("-id")[:SHOWN]
    return Today(
        steps=first_steps(studio),
        in_hand=list(_in_hand(studio)[:SHOWN]),
        alerts=alerts[:ALERTS_SHOWN],
        more_alerts=len(alerts) > ALERTS_SHOWN,
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
        batches_listed(studio)
        .filter(state__in=IN_HAND)
        .annotate(
            line_count=Coalesce(Subquery(lines.annotate(n=Count("pk")).values("n")), 0),
            poured_count=Coalesce(Subquery(poured.annotate(n=Count("line", distinct=True)).values("n")), 0),
        )
        .order_by("-id")
    )
