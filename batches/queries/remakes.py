"""The remake plan as it is shown: rows with their reasons, day by day, and what-ifs. Nothing is written."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_result import MakingRow, PurchaseRow, RemakePlan
from batches.calc.remake_what_if import CanMake, can_make_by
from batches.models import Batch, BatchState, FormulaVersion
from batches.models.remake_requests import Asked, Outlook, remake_request
from batches.models.written import written_lines
from batches.queries.batches import batches_of
from studio.models import Studio

WAITING_SHOWN = 50


@dataclass(frozen=True, slots=True)
class Remakes:
    """A plan, what it was computed on, and what its masses may be by hand."""

    plan: RemakePlan
    digest: str
    outlook: Outlook

    @property
    def nothing_to_do(self) -> bool:
        return not (self.plan.makings or self.plan.purchases)


def remakes_of(*, studio: Studio, today: date, outlook: Outlook) -> Remakes:
    """The plan of a studio as things stand. Twelve statements, thirteen with expected use."""
    gathered = remake_request(studio=studio, today=today, outlook=outlook)
    return Remakes(plan=plan_remakes(gathered.request), digest=gathered.digest, outlook=outlook)


def waiting_drafts(studio: Studio) -> list[Batch]:
    """Dated drafts, which have claimed nothing yet, by day. One statement."""
    rows = batches_of(studio).filter(state=BatchState.DRAFT, planned_on__isnull=False)
    return list(rows.order_by("planned_on", "id")[:WAITING_SHOWN])


@dataclass(frozen=True, slots=True)
class CouldBeMade:
    """The answer to a what-if of `mass` grams, with what has to be made and bought before for a yes."""

    mass: Decimal
    answer: CanMake

    @property
    def at_once(self) -> bool:
        """Whether the shelf has it all, not spoken for."""
        return self.answer.yes and not self.answer.to_do

    @property
    def first_make(self) -> list[MakingRow]:
        return [row for row in self.answer.to_do if isinstance(row, MakingRow)]

    @property
    def first_buy(self) -> list[PurchaseRow]:
        return [row for row in self.answer.to_do if isinstance(row, PurchaseRow)]


def could_be_made(
    *,
    version: FormulaVersion,
    today: date,
    day: date,
    mass: Decimal,
    strength: Decimal | None = None,
) -> CouldBeMade:
    """Whether `mass` grams of a version could be made on `day`, beside all that is planned. Nothing is written."""
    day = max(day, today)
    gathered = remake_request(
        studio=version.studio,
        today=today,
        outlook=Outlook(until=day),
        asked=Asked(lines=written_lines(version), mass=mass, strength=strength),
    )
    return CouldBeMade(mass=mass, answer=can_make_by(gathered.request, gathered.asked, day))
