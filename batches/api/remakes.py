"""The remake plan over the API: computed, accepted, and asked what could be made."""

from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.remakes import WantedRow, accept_rows
from batches.api.remake_shapes import (
    USUAL_DAYS,
    USUAL_MASS,
    AcceptedOut,
    AcceptIn,
    CouldBeMadeAsk,
    CouldBeMadeOut,
    PlanAsk,
    RemakePlanOut,
    SuggestedParsOut,
)
from batches.models.remake_requests import Outlook
from batches.queries.batches import batches_of
from batches.queries.formulas import version_of
from batches.queries.remakes import could_be_made, remakes_of
from batches.queries.suggested_pars import suggested_pars
from inventory.queries.buying import purchases_of
from studio.api.views import Endpoint


class RemakePlan(Endpoint):
    asks = {"GET": PlanAsk}

    @extend_schema(responses=RemakePlanOut)
    def get(self, request: Request) -> HttpResponse:
        """Compute what to make again and what to buy, how much, by when and for whom; nothing is written.

        Reckoned with are dated batches, claims that cannot be met, pars, what is being made and what is on its way. With
        `expected_use` also the mean use of the last eight weeks.
        """
        found = remakes_of(studio=self.studio, today=self.now.date(), outlook=outlook_of(self, self.asked))
        return self.answer(RemakePlanOut, found)


class RemakePlanAccept(Endpoint):
    @extend_schema(request=AcceptIn, responses={201: AcceptedOut})
    def post(self, request: Request) -> HttpResponse:
        """Accept rows: their batches are drafted and reserved, their purchases noted, all of it or nothing.

        What is made of another row waits as a dated draft until that one is made. A plan computed on what has changed
        since is refused, with what changed. The same operation sent again answers what came of it the first time.
        """
        wanted = self.read(AcceptIn)
        acceptance = accept_rows(
            by=self.by,
            now=self.now,
            operation=wanted["operation"],
            digest=wanted["digest"],
            outlook=outlook_of(self, wanted),
            rows=[WantedRow(**row) for row in wanted["rows"]],
        )
        batches = batches_of(self.studio).filter(number__in=acceptance.batches).order_by("id")
        purchases = purchases_of(self.studio).filter(pk__in=acceptance.purchases).order_by("id")
        told = {
            "operation": acceptance.operation,
            "at": acceptance.at,
            "batches": batches,
            "purchases": purchases,
        }
        return self.created(AcceptedOut, told, location="/api/v1/remake-plan/")


class VersionCouldBeMade(Endpoint):
    asks = {"GET": CouldBeMadeAsk}

    @extend_schema(responses=CouldBeMadeOut)
    def get(self, request: Request, code: str, number: int) -> HttpResponse:
        """Ask whether so much of a version could be made on a day, beside all that is planned; nothing is written.

        The answer is yes, with what has to be made or bought before, or what is missing and when it could be there.
        """
        version = version_of(studio=self.studio, code=code, number=number)
        asked = self.asked
        found = could_be_made(
            version=version,
            today=self.now.date(),
            day=asked.get("day") or self.now.date(),
            mass=asked.get("mass", USUAL_MASS) * asked.get("vials", 1),
            strength=asked.get("strength"),
        )
        return self.answer(CouldBeMadeOut, found)


class SuggestedPars(Endpoint):
    @extend_schema(responses=SuggestedParsOut)
    def get(self, request: Request) -> HttpResponse:
        """Suggest pars from the use of the last weeks, with the weeks; none is ever set by itself."""
        return self.answer(
            SuggestedParsOut, {"items": suggested_pars(studio=self.studio, today=self.now.date())}
        )


def outlook_of(view: Endpoint, asked: dict[str, Any]) -> Outlook:
    """How far to look, as it was asked for."""
    days = asked.get("days", USUAL_DAYS)
    until = view.now.date() + timedelta(days=days)
    return Outlook(until=until, expected_use=asked.get("expected_use", False))
