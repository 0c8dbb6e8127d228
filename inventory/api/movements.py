"""The ledger over the API: reading it, and taking a movement back by another."""

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.reversing import reverse_movement
from inventory.api.filters import MovementFilters
from inventory.api.lot_shapes import MovementOut, ReverseIn
from inventory.models import Movement
from inventory.queries.shelf import movements_of
from studio.api.views import Endpoint, ListEndpoint


class MovementList(ListEndpoint):
    model = Movement
    shape = MovementOut
    filterset_class = MovementFilters
    orderings = {"at": "at", "recorded": "id"}
    ordering = "-recorded"

    def rows(self) -> QuerySet[Movement]:
        return movements_of(self.studio)


class MovementDetail(Endpoint):
    @extend_schema(responses=MovementOut)
    def get(self, request: Request, movement_id: int) -> HttpResponse:
        """Read a movement."""
        movement = movements_of(self.studio).one(self.studio, "movement", id=movement_id)
        return self.answer(MovementOut, movement)


class MovementReverse(Endpoint):
    @extend_schema(request=ReverseIn, responses={201: MovementOut})
    def post(self, request: Request, movement_id: int) -> HttpResponse:
        """Take a movement back by another one that names it; both stay in the ledger."""
        back = reverse_movement(by=self.by, now=self.now, movement_id=movement_id, **self.read(ReverseIn))
        shown = movements_of(self.studio).get(pk=back.pk)
        return self.created(MovementOut, shown, location=f"/api/v1/movements/{back.id}/")
