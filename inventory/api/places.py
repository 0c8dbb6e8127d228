"""Shelves and balances over the API."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.places import (
    FIGURES,
    add_balance,
    add_shelf,
    change_balance,
    change_shelf,
    check_balance,
)
from inventory.api.references import resolved
from inventory.api.shapes import (
    BalanceChange,
    BalanceCheckIn,
    BalanceCheckOut,
    BalanceIn,
    BalanceOut,
    ShelfChange,
    ShelfIn,
    ShelfOut,
)
from inventory.calc.weighing import BalanceTraits
from inventory.models import Balance, BalanceCheck, Shelf
from inventory.queries.shelf import balances_of
from studio.api.views import Endpoint, ListEndpoint


class ShelfList(ListEndpoint):
    model = Shelf
    shape = ShelfOut
    orderings = ("name",)
    ordering = "name"

    def rows(self) -> QuerySet[Shelf]:
        return Shelf.objects.of(self.studio).select_related("keeper__person")

    @extend_schema(request=ShelfIn, responses={201: ShelfOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a shelf."""
        shelf = add_shelf(by=self.by, now=self.now, **resolved(self.studio, self.read(ShelfIn)))
        return self.created(ShelfOut, shelf, location=f"/api/v1/shelves/{shelf.id}/")


class ShelfDetail(Endpoint):
    @extend_schema(responses=ShelfOut)
    def get(self, request: Request, shelf_id: int) -> HttpResponse:
        """Read a shelf."""
        return self.answer(ShelfOut, Shelf.objects.one(self.studio, "shelf", id=shelf_id))

    @extend_schema(request=ShelfChange, responses=ShelfOut)
    def patch(self, request: Request, shelf_id: int) -> HttpResponse:
        """Change a shelf."""
        shelf = Shelf.objects.one(self.studio, "shelf", id=shelf_id)
        changes = resolved(self.studio, self.read(ShelfChange))
        shelf = change_shelf(by=self.by, now=self.now, shelf=shelf, changes=changes, expected=self.edition())
        return self.answer(ShelfOut, shelf)


class BalanceList(ListEndpoint):
    model = Balance
    shape = BalanceOut
    orderings = ("name",)
    ordering = "name"

    def rows(self) -> QuerySet[Balance]:
        return balances_of(self.studio)

    @extend_schema(request=BalanceIn, responses={201: BalanceOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a balance with the figures that say how well it weighs."""
        wanted = self.read(BalanceIn)
        figures: dict[str, Any] = {name: wanted.pop(name) for name in FIGURES if name in wanted}
        balance = add_balance(by=self.by, now=self.now, traits=BalanceTraits(**figures), **wanted)
        balance = balances_of(self.studio).get(pk=balance.pk)
        return self.created(BalanceOut, balance, location=f"/api/v1/balances/{balance.id}/")


class BalanceDetail(Endpoint):
    @extend_schema(responses=BalanceOut)
    def get(self, request: Request, balance_id: int) -> HttpResponse:
        """Read a balance, with its last check and smallest sensible net weight."""
        return self.answer(BalanceOut, balances_of(self.studio).one(self.studio, "balance", id=balance_id))

    @extend_schema(request=BalanceChange, responses=BalanceOut)
    def patch(self, request: Request, balance_id: int) -> HttpResponse:
        """Change a balance; what was weighed on it before keeps its recorded uncertainty."""
        balance = Balance.objects.one(self.studio, "balance", id=balance_id)
        change_balance(
            by=self.by,
            now=self.now,
            balance=balance,
            changes=self.read(BalanceChange),
            expected=self.edition(),
        )
        return self.answer(BalanceOut, balances_of(self.studio).get(pk=balance.pk))


class BalanceCheckList(ListEndpoint):
    model = BalanceCheck
    shape = BalanceCheckOut
    orderings = ("at",)
    ordering = "-at"

    def rows(self) -> QuerySet[BalanceCheck]:
        balance = Balance.objects.one(self.studio, "balance", id=self.kwargs["balance_id"])
        return BalanceCheck.objects.filter(balance=balance).select_related("by__person")

    @extend_schema(request=BalanceCheckIn, responses={201: BalanceCheckOut})
    def post(self, request: Request, balance_id: int) -> HttpResponse:
        """Log a check weighing; whether it passed is reckoned here."""
        balance = Balance.objects.one(self.studio, "balance", id=balance_id)
        check, _ = check_balance(by=self.by, now=self.now, balance=balance, **self.read(BalanceCheckIn))
        return self.created(BalanceCheckOut, check, location=f"/api/v1/balances/{balance_id}/checks/")
