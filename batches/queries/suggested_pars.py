"""Pars suggested from what was weighed in the last weeks, each with its weeks. Only shown; people set pars."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, Sum
from django.db.models.functions import TruncDate

from batches.calc.remake_pars import SuggestedPar, par_from_weeks
from batches.calc.remake_request import ItemKey, RemakeRequest
from batches.models import Weighing
from batches.models.remake_requests import Outlook, remake_request
from inventory.calc.wording import figure
from inventory.models import Par
from studio.kernel.mass import ZERO_MASS
from studio.models import Studio

MOST_WEEKS = 13
FEWEST_WEEKS = 4
WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Week:
    """Grams used in seven days from a day on."""

    begins: date
    used: Decimal


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A par for an item beside the one that is set; `weeks` are what it was reckoned from, the oldest first."""

    item: ItemKey
    name: str
    par: SuggestedPar
    current: Par | None
    lead_days: int
    weeks: Sequence[Week]
    solvent: str

    @property
    def percent(self) -> Decimal:
        """The strength as it is typed on pages."""
        return self.item.strength * 100

    @property
    def low(self) -> Decimal:
        return self.par.low

    @property
    def full(self) -> Decimal:
        return self.par.full

    @property
    def set_low(self) -> Decimal | None:
        return self.current.low if self.current else None

    @property
    def set_full(self) -> Decimal | None:
        return self.current.full if self.current else None

    @property
    def sentence(self) -> str:
        mean = sum((week.used for week in self.weeks), ZERO_MASS) / len(self.weeks)
        return (
            f"{figure(round(mean, 3))} g a week over {len(self.weeks)} weeks; with {self.lead_days} days until it is "
            f"there again, {figure(self.low)} g low and {figure(self.full)} g full."
        )


def suggested_pars(*, studio: Studio, today: date) -> list[Suggestion]:
    """Suggestions for everything weighed in whole weeks before today, the most used first. Fourteen statements."""
    gathered = remake_request(studio=studio, today=today, outlook=Outlook(until=today))
    catalogue = gathered.catalogue
    since = today - MOST_WEEKS * WEEK
    used: dict[ItemKey, dict[int, Decimal]] = {}
    for row in _daily(studio, since, today):
        item = catalogue.item(row["made_of"], row["strength"] or Decimal(1), row["solvent_id"])
        week = (row["day"] - since).days // 7
        weeks = used.setdefault(item, {})
        weeks[week] = weeks.get(week, ZERO_MASS) + row["grams"]
    first = min((week for weeks in used.values() for week in weeks), default=MOST_WEEKS)
    begun = min(first, MOST_WEEKS - FEWEST_WEEKS)
    leads = _leads(gathered.request)
    suggestions = []
    for item, weeks in used.items():
        grams = [weeks.get(week, ZERO_MASS) for week in range(begun, MOST_WEEKS)]
        lead = leads.get(item, 0)
        suggestions.append(
            Suggestion(
                item=item,
                name=catalogue.name(item),
                par=par_from_weeks(grams, lead_days=lead, shelf_life_days=catalogue.life(item)),
                current=catalogue.pars.get(item),
                lead_days=lead,
                solvent=catalogue.materials[item.solvent].name if item.solvent else "",
                weeks=[
                    Week(since + week * WEEK, mass)
                    for week, mass in zip(range(begun, MOST_WEEKS), grams, strict=True)
                ],
            )
        )
    return sorted(suggestions, key=lambda one: (-one.par.mean_a_day, one.item.place))


def _daily(studio: Studio, since: date, until: date) -> list[dict[str, Any]]:
    """Grams weighed by day and what the lot is. One statement."""
    rows = (
        Weighing.objects.of(studio)
        .standing()
        .filter(at__date__gte=since, at__date__lt=until, lot__material__isnull=False)
        .values(
            day=TruncDate("at"),
            made_of=F("lot__material_id"),
            strength=F("lot__declared_strength"),
            solvent_id=F("lot__solvent_id"),
        )
        .annotate(grams=Sum("mass"))
        .order_by("day", "made_of", "strength", "solvent_id")
    )
    return [dict(row) for row in rows]


def _leads(request: RemakeRequest) -> dict[ItemKey, int]:
    """Days until each item is there again: by its first recipe, or by the quickest delivery."""
    leads: dict[ItemKey, int] = {}
    for offer in request.offers:
        leads[offer.item] = min(offer.delivery_days, leads.get(offer.item, offer.delivery_days))
    for recipe in reversed(request.recipes):
        leads[recipe.item] = recipe.lead_days
    return leads
