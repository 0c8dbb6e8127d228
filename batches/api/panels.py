"""Panels over the API: planned, set up, answered blind, and told when the last answer is in."""

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.answering import answer_serving, end_panel, look_at_panel
from batches.actions.panels import (
    USUAL_LEVEL,
    USUAL_POWER,
    USUAL_SHARE,
    WantedPanel,
    WantedTrial,
    set_up_panel,
    set_up_trial,
)
from batches.api.panel_shapes import (
    AnswerIn,
    AnswerOut,
    EarlyIn,
    PanelIn,
    PanelKeyOut,
    PanelOut,
    PanelPlanOut,
    PlanAsk,
    ResultOut,
    ServingOut,
    StrengthsListOut,
    TrialIn,
)
from batches.calc.discrimination import METHODS
from batches.calc.panel_plan import panel_plan
from batches.models import Panel, PanelAnswer, PanelMethod, PanelServing
from batches.queries.panel_results import result_of
from batches.queries.panels import answers_of, key_of, panel_at, panels_of, servings_of, strengths_on_shelf
from inventory.api.references import lot_numbered, member_of, naming
from inventory.models import Lot, Material
from studio.api.filters import Filters, IdFilter
from studio.api.problems import PROBLEM_JSON
from studio.api.views import Endpoint, ListEndpoint
from studio.models import Member, Studio

HIDDEN: Any = {(409, PROBLEM_JSON): {"$ref": "#/components/schemas/Problem"}}


class PanelFilters(Filters):
    open = django_filters.BooleanFilter(field_name="closed_at", lookup_expr="isnull")
    method = django_filters.MultipleChoiceFilter(choices=PanelMethod.choices)
    material = IdFilter(field_name="material_id")

    class Meta:
        model = Panel
        fields: list[str] = []


class PanelList(ListEndpoint):
    """List the panels of the studio."""

    model, shape, filterset_class = Panel, PanelOut, PanelFilters
    orderings = ("at", "title")
    ordering = "-at"

    def rows(self) -> QuerySet[Panel]:
        return panels_of(self.studio)

    @extend_schema(request=PanelIn, responses={201: PanelOut})
    def post(self, request: Request) -> HttpResponse:
        """Set up a blind comparison of two lots: trays and numbers are drawn, the number of answers is fixed.

        Whoever sets it up fills the trays by the key, and does not sit.
        """
        told = self.read(PanelIn)
        wanted = WantedPanel(
            method=PanelMethod(told.pop("method")),
            lot_a=_lots(self.studio, "lot", [told.pop("lot")])[0],
            lot_b=_lots(self.studio, "other_lot", [told.pop("other_lot")])[0],
            sitters=_people(self.studio, "people", told.pop("people")),
            **told,
        )
        panel = set_up_panel(by=self.by, now=self.now, wanted=wanted)
        return self.created(PanelOut, _panel(self, panel.pk), location=f"/api/v1/panels/{panel.pk}/")


class PanelPlanView(Endpoint):
    asks = {"GET": PlanAsk}

    @extend_schema(responses=PanelPlanOut)
    def get(self, request: Request) -> HttpResponse:
        """Reckon how many answers a panel needs and what other shares would have needed; nothing is written."""
        told = self.asked
        plan = panel_plan(
            METHODS[told.get("method", PanelMethod.TRIANGLE)],
            level=told.get("level", USUAL_LEVEL),
            wanted_power=told.get("power", USUAL_POWER),
            share=told.get("share", USUAL_SHARE),
            answers=told.get("answers"),
        )
        return self.answer(PanelPlanOut, plan)


class PanelTrial(Endpoint):
    @extend_schema(request=TrialIn, responses={201: PanelOut})
    def post(self, request: Request) -> HttpResponse:
        """Set up a trial of one nose: triangles of ever stronger stocks of a material against its solvent."""
        told = self.read(TrialIn)
        wanted = WantedTrial(
            sitter=_people(self.studio, "person", [told.pop("person")])[0],
            stocks=_lots(self.studio, "stocks", told.pop("stocks")),
            solvent=_lots(self.studio, "solvent_lot", [told.pop("solvent_lot")])[0],
            **told,
        )
        panel = set_up_trial(by=self.by, now=self.now, wanted=wanted)
        return self.created(PanelOut, _panel(self, panel.pk), location=f"/api/v1/panels/{panel.pk}/")


class MaterialStrengths(Endpoint):
    @extend_schema(responses=StrengthsListOut)
    def get(self, request: Request, material_id: int) -> HttpResponse:
        """Propose the steps of a trial: the stocks of a material on the shelf by solvent, from weak to strong."""
        material = Material.objects.one(self.studio, "material", id=material_id)
        return self.answer(
            StrengthsListOut, {"items": strengths_on_shelf(studio=self.studio, material=material)}
        )


class PanelDetail(Endpoint):
    @extend_schema(responses=PanelOut)
    def get(self, request: Request, panel_id: int) -> HttpResponse:
        """Read a panel."""
        return self.answer(PanelOut, _panel(self, panel_id))


class PanelServings(ListEndpoint):
    """List the trays of a panel with the numbers on them, and who answered which; not what stands on them."""

    model, shape = PanelServing, ServingOut
    orderings = ("number",)
    ordering = "number"

    def rows(self) -> QuerySet[PanelServing]:
        return servings_of(_panel(self, self.kwargs["panel_id"]))


class PanelAnswers(ListEndpoint):
    """List who answered which tray and when; what was answered is told when the panel is closed."""

    model, shape = PanelAnswer, AnswerOut
    orderings = ("at",)
    ordering = "at"

    def rows(self) -> QuerySet[PanelAnswer]:
        return answers_of(_panel(self, self.kwargs["panel_id"]))

    @extend_schema(request=AnswerIn, responses={201: AnswerOut})
    def post(self, request: Request, panel_id: int) -> HttpResponse:
        """Answer a tray by the number on the sample that is chosen, once; the last answer closes the panel.

        Somebody who cannot tell guesses: a panel reckons with guesses, not with gaps.
        """
        said = answer_serving(by=self.by, now=self.now, panel_id=panel_id, **self.read(AnswerIn))
        shown = answers_of(_panel(self, panel_id)).get(pk=said.pk)
        return self.created(AnswerOut, shown, location=f"/api/v1/panels/{panel_id}/answers/")


class PanelResultView(Endpoint):
    @extend_schema(responses={200: ResultOut, **HIDDEN})
    def get(self, request: Request, panel_id: int) -> HttpResponse:
        """Read the result: refused until the planned number of answers is in, or a look was declared."""
        return self.answer(ResultOut, result_of(member=self.by, panel=_panel(self, panel_id)))


class PanelInterim(Endpoint):
    @extend_schema(request=EarlyIn, responses=ResultOut)
    def post(self, request: Request, panel_id: int) -> HttpResponse:
        """Declare a look at the result so far, and have it; every later result tells that it was looked at."""
        look_at_panel(by=self.by, now=self.now, panel_id=panel_id, **self.read(EarlyIn))
        return self.answer(ResultOut, result_of(member=self.by, panel=_panel(self, panel_id)))


class PanelEnd(Endpoint):
    @extend_schema(request=EarlyIn, responses=PanelOut)
    def post(self, request: Request, panel_id: int) -> HttpResponse:
        """End a panel of one's own before its planned number; its result stays interim."""
        end_panel(by=self.by, now=self.now, panel_id=panel_id, **self.read(EarlyIn))
        return self.answer(PanelOut, _panel(self, panel_id))


class PanelKey(Endpoint):
    @extend_schema(responses=PanelKeyOut)
    def get(self, request: Request, panel_id: int) -> HttpResponse:
        """Read what stands behind the numbers: who set it up at any time, everybody when the panel is closed."""
        return self.answer(PanelKeyOut, key_of(member=self.by, panel=_panel(self, panel_id)))


def _panel(view: Endpoint, panel_id: int) -> Panel:
    return panel_at(studio=view.studio, panel_id=panel_id)


def _lots(studio: Studio, field: str, numbers: list[str]) -> list[Lot]:
    with naming(field):
        return [lot_numbered(studio, number) for number in numbers]


def _people(studio: Studio, field: str, ids: list[int]) -> list[Member]:
    with naming(field):
        return [member_of(studio, one) for one in ids]
