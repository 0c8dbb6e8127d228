"""Requests and loans over the API: asking a keeper, the keeper's answer, lending and bringing back."""

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.asking import ask_keeper, decline_request, grant_request, withdraw_request
from inventory.actions.drawing_off import Container
from inventory.actions.lending import lend, take_back
from inventory.api.references import lot_numbered, member_of, naming, resolved
from inventory.api.sharing_shapes import (
    DeclineIn,
    GrantIn,
    LendIn,
    LoanOut,
    RequestIn,
    RequestOut,
    TakeBackIn,
)
from inventory.models import Loan, LotKind, LotRequest, RequestState, Wish
from inventory.queries.sharing import loans_of, requests_of
from inventory.queries.shelf import lots_of
from studio.api.filters import DayFilter, Filters, IdFilter, NumberTextFilter
from studio.api.shapes import WhyIn
from studio.api.views import Endpoint, ListEndpoint


class RequestFilters(Filters):
    state = django_filters.MultipleChoiceFilter(choices=RequestState.choices)
    wish = django_filters.MultipleChoiceFilter(choices=Wish.choices)
    lot = NumberTextFilter(sort="lot", field_name="lot__number")
    asker = IdFilter(field_name="asker_id")
    keeper = IdFilter(field_name="lot__keeper_id")


class RequestList(ListEndpoint):
    """List what members ask of each other's lots."""

    model, shape, filterset_class = LotRequest, RequestOut, RequestFilters
    orderings = ("asked_at", "id")
    ordering = "-asked_at"

    def rows(self) -> QuerySet[LotRequest]:
        return requests_of(self.studio)

    @extend_schema(request=RequestIn, responses={201: RequestOut})
    def post(self, request: Request) -> HttpResponse:
        """Ask the keeper of a lot for some of it, or for a loan."""
        wanted = self.read(RequestIn)
        lot = lot_numbered(self.studio, wanted.pop("lot"))
        lot = lots_of(self.studio).get(pk=lot.pk)
        asked = ask_keeper(
            by=self.by,
            now=self.now,
            lot=lot,
            wish=Wish(wanted.pop("wish")),
            **wanted,
        )
        location = f"/api/v1/requests/{asked.pk}/"
        return self.created(RequestOut, _request(self, asked.pk), location=location)


class RequestDetail(Endpoint):
    @extend_schema(responses=RequestOut)
    def get(self, request: Request, request_id: int) -> HttpResponse:
        """Read a request."""
        return self.answer(RequestOut, _request(self, request_id))


class RequestGrant(Endpoint):
    @extend_schema(request=GrantIn, responses=RequestOut)
    def post(self, request: Request, request_id: int) -> HttpResponse:
        """Grant all or part of a request; what is handed over becomes a lot of the asker's own."""
        asked = _request(self, request_id)
        wanted = resolved(self.studio, self.read(GrantIn))
        drawn = {name: wanted.pop(name) for name in ("tare", "shelf") if name in wanted}
        grant_request(
            by=self.by,
            now=self.now,
            request_id=request_id,
            container=Container(kind=LotKind(asked.lot.kind), **drawn),
            **wanted,
        )
        return self.answer(RequestOut, _request(self, request_id))


class RequestDecline(Endpoint):
    @extend_schema(request=DeclineIn, responses=RequestOut)
    def post(self, request: Request, request_id: int) -> HttpResponse:
        """Decline a request, with a word."""
        decline_request(by=self.by, now=self.now, request_id=request_id, **self.read(DeclineIn))
        return self.answer(RequestOut, _request(self, request_id))


class RequestWithdraw(Endpoint):
    @extend_schema(request=WhyIn, responses=RequestOut)
    def post(self, request: Request, request_id: int) -> HttpResponse:
        """Withdraw one's own request."""
        withdraw_request(by=self.by, now=self.now, request_id=request_id, **self.read(WhyIn))
        return self.answer(RequestOut, _request(self, request_id))


class LoanFilters(Filters):
    lot = NumberTextFilter(sort="lot", field_name="lot__number")
    borrower = IdFilter(field_name="borrower_id")
    open = django_filters.BooleanFilter(field_name="returned_at", lookup_expr="isnull")
    due_before = DayFilter(field_name="due_on", lookup_expr="lt")


class LoanList(ListEndpoint):
    """List loans, also those that ended."""

    model, shape, filterset_class = Loan, LoanOut, LoanFilters
    orderings = ("due_on", "lent_at")
    ordering = "-lent_at"

    def rows(self) -> QuerySet[Loan]:
        return loans_of(self.studio)


class LoanDetail(Endpoint):
    @extend_schema(responses=LoanOut)
    def get(self, request: Request, loan_id: int) -> HttpResponse:
        """Read a loan."""
        return self.answer(LoanOut, _loan(self, loan_id))


class LoanReturn(Endpoint):
    @extend_schema(request=TakeBackIn, responses=LoanOut)
    def post(self, request: Request, loan_id: int) -> HttpResponse:
        """Bring a lot back by weighing it; what is missing is booked as used."""
        take_back(by=self.by, now=self.now, loan_id=loan_id, **self.read(TakeBackIn))
        return self.answer(LoanOut, _loan(self, loan_id))


class LotLend(Endpoint):
    @extend_schema(request=LendIn, responses={201: LoanOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Lend a lot to a member until a day."""
        lot = lots_of(self.studio).get(pk=lot_numbered(self.studio, number).pk)
        wanted = self.read(LendIn)
        with naming("to"):
            to = member_of(self.studio, wanted["to"])
        loan = lend(by=self.by, now=self.now, lot=lot, to=to, due_on=wanted["until"])
        return self.created(LoanOut, _loan(self, loan.pk), location=f"/api/v1/loans/{loan.pk}/")


def _request(view: Endpoint, request_id: int) -> LotRequest:
    return requests_of(view.studio).one(view.studio, "request", id=request_id)


def _loan(view: Endpoint, loan_id: int) -> Loan:
    return loans_of(view.studio).one(view.studio, "loan", id=loan_id)
