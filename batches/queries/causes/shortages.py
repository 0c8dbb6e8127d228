"""What is below par, and what dated batches will find too little of: from the same request as the remake plan."""

from datetime import date, datetime, timedelta
from decimal import Decimal

from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_request import ItemKey, RemakeRequest
from batches.calc.remake_result import PegSort
from batches.calc.shortage_causes import below_par, runs_short
from batches.models.remake_requests import USUAL_HORIZON, Outlook, remake_request
from studio.kernel.causes import Cause
from studio.kernel.mass import ZERO_MASS
from studio.models import Studio


def present(studio: Studio, now: datetime) -> list[Cause]:
    """What is below par today, and what will run short in the next weeks. Fourteen statements."""
    today = now.date()
    outlook = Outlook(until=today + USUAL_HORIZON)
    request = remake_request(studio=studio, today=today, outlook=outlook).request
    return [*_below_par(request, today), *_running_short(request, today)]


def _below_par(request: RemakeRequest, today: date) -> list[Cause]:
    """One cause for each par whose low is missed today, by what is usable and what is coming."""
    there = _there(request, today)
    return [
        below_par(
            item=item.key,
            name=item.name,
            there=there.get(item.key, ZERO_MASS),
            low=item.low,
            full=item.full or item.low,
        )
        for item in request.items
        if there.get(item.key, ZERO_MASS) < item.low
    ]


def _running_short(request: RemakeRequest, today: date) -> list[Cause]:
    """One cause for each item that a batch of the next weeks will find too little of."""
    plan = plan_remakes(request)
    return [
        runs_short(
            item=one.item,
            name=one.name,
            day=max(one.day, today),
            mass=one.mass,
            batch=one.peg.ref,
            label=one.peg.label,
            today=today,
        )
        for one in plan.runs_short
        if one.peg.sort is PegSort.BATCH
    ]


def _there(request: RemakeRequest, today: date) -> dict[ItemKey, Decimal]:
    """Grams free to use of each item today, with what is being made or on its way."""
    there: dict[ItemKey, Decimal] = {}
    for lot in request.lots:
        past = lot.expires_on is not None and lot.expires_on < today
        if not (lot.held or past):
            there[lot.item] = there.get(lot.item, ZERO_MASS) + lot.mass
    soon = today + timedelta(days=USUAL_HORIZON.days)
    for receipt in request.receipts:
        if receipt.day <= soon:
            there[receipt.item] = there.get(receipt.item, ZERO_MASS) + receipt.mass
    return there
