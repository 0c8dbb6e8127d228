"""Alerts over the API, and how the acting member is mailed about them."""

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from studio.actions.alerts import quiet_alert
from studio.actions.telling import choose_mail
from studio.api.alert_shapes import AlertMailIn, AlertMailOut, AlertOut
from studio.api.filters import DayFilter, Filters
from studio.api.permissions import AnyMemberWithin
from studio.api.shapes import WhyIn
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.causes import Urgency
from studio.models import Alert
from studio.queries.alerts import alert_of, alerts_of, mail_choice

WORDS = [(urgency.word, urgency.word) for urgency in Urgency]


class AlertFilters(Filters):
    kind = django_filters.CharFilter()
    subject = django_filters.CharFilter()
    name = django_filters.CharFilter()
    urgency = django_filters.ChoiceFilter(choices=WORDS, method="of_urgency")
    open = django_filters.BooleanFilter(field_name="closed_at", lookup_expr="isnull")
    seen = django_filters.BooleanFilter(field_name="quieted_at", lookup_expr="isnull", exclude=True)
    due_before = DayFilter(field_name="due_on", lookup_expr="lt")

    def of_urgency(self, rows: QuerySet[Alert], name: str, value: str) -> QuerySet[Alert]:
        return rows.filter(urgency=Urgency[value.upper()])


class AlertList(ListEndpoint):
    """List the alerts of the studio, closed ones included.

    `open=true` leaves those whose cause is there now, `seen=false` those that still call out.
    """

    model, shape, filterset_class = Alert, AlertOut, AlertFilters
    orderings = {"pressing": "urgency", "due_on": "due_on", "since": "since"}
    ordering = "-since"

    def rows(self) -> QuerySet[Alert]:
        return alerts_of(self.studio)


class AlertView(Endpoint):
    """One alert."""

    @extend_schema(responses=AlertOut)
    def get(self, request: Request, alert_id: int) -> HttpResponse:
        """Read an alert."""
        return self.answer(AlertOut, alert_of(self.studio, alert_id))


class AlertQuiet(Endpoint):
    """Having seen an alert."""

    @extend_schema(request=WhyIn, responses=AlertOut)
    def post(self, request: Request, alert_id: int) -> HttpResponse:
        """Say that an alert has been seen.

        It stays open for as long as its cause is there, and no longer calls out; it does again when it becomes more
        urgent.
        """
        quiet_alert(by=self.by, at=self.now, alert_id=alert_id, **self.read(WhyIn))
        return self.answer(AlertOut, alert_of(self.studio, alert_id))


class AlertMailView(Endpoint):
    """How the acting member is mailed about alerts."""

    permission_classes = (AnyMemberWithin,)

    @extend_schema(responses=AlertMailOut)
    def get(self, request: Request) -> HttpResponse:
        """Read how one is mailed about alerts."""
        return self.answer(AlertMailOut, mail_choice(self.by))

    @extend_schema(request=AlertMailIn, responses=AlertMailOut)
    def patch(self, request: Request) -> HttpResponse:
        """Choose how one is mailed about alerts: at once, in one mail a day, or never."""
        choice = choose_mail(by=self.by, expected=self.edition(), **self.read(AlertMailIn))
        return self.answer(AlertMailOut, choice)
