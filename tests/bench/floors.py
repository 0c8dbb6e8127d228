"""The floors that are views: what the framework alone takes to answer the same, served beside the service.

They ask nobody who he is, read no parameter and check nothing. The service's own addresses stand in front, so both
are measured in one process, through the same middleware.
"""

from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from django.db import connection
from django.db.models import F
from django.urls import path
from rest_framework.generics import CreateAPIView, ListAPIView
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.parsers import JSONParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import CharField, DecimalField, ModelSerializer
from rest_framework.views import APIView

from batches.models import Weighing
from inventory.models import Lot
from studio.urls import urlpatterns as service

Statements = Sequence[tuple[str, Any]]


class Bare:
    """The framework without anything of the service."""

    authentication_classes: ClassVar[Sequence[Any]] = ()
    permission_classes: ClassVar[Sequence[Any]] = ()
    throttle_classes: ClassVar[Sequence[Any]] = ()
    filter_backends: ClassVar[Sequence[Any]] = ()
    renderer_classes = (JSONRenderer,)
    parser_classes = (JSONParser,)


class Answer(Bare, APIView):
    """Answers what `answer` gives, as JSON."""

    answer: ClassVar[Callable[[], Any] | None] = None

    def get(self, request: Request) -> Response:
        given = type(self).answer
        return Response(given() if given else {"here": True})


class SameStatements(Bare, APIView):
    """Runs the statements that a page runs, through a bare cursor, and answers their rows as JSON."""

    statements: ClassVar[Statements] = ()

    def get(self, request: Request) -> Response:
        answers = []
        with connection.cursor() as cursor:
            for statement, parameters in self.statements:
                cursor.execute(statement, parameters)
                if cursor.description:
                    names = [column[0] for column in cursor.description]
                    answers.append([dict(zip(names, row, strict=True)) for row in cursor.fetchall()])
        return Response(answers)


class LotSerializer(ModelSerializer):
    available = DecimalField(max_digits=13, decimal_places=6)
    material_name = CharField(source="material.name", default=None)
    solvent_name = CharField(source="solvent.name", default=None)
    shelf_name = CharField(source="shelf.name", default=None)
    keeper_name = CharField(source="keeper.person.name", default=None)

    class Meta:
        model = Lot
        fields = "__all__"


class FirstFifty(LimitOffsetPagination):
    """Fifty rows, and no count of all of them."""

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        return list(queryset[:50])

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"items": data})


class LotRows(Bare, ListAPIView):
    """The same fifty lots as the shelf list: open bottles by expiry."""

    serializer_class = LotSerializer
    pagination_class = FirstFifty

    def get_queryset(self) -> Any:
        names = ("material", "solvent", "shelf", "keeper__person")
        rows = Lot.objects.filter(emptied_at__isnull=True, kind="bottle").select_related(*names)
        return rows.order_by(F("expires_on").asc(nulls_last=True), "id")


class WeighingSerializer(ModelSerializer):
    class Meta:
        model = Weighing
        fields = "__all__"


class WeighingCreate(Bare, CreateAPIView):
    """One row written from one body."""

    queryset = Weighing.objects.all()
    serializer_class = WeighingSerializer


urlpatterns = [
    path("floor/answer/", Answer.as_view()),
    path("floor/statements/", SameStatements.as_view()),
    path("floor/lots/", LotRows.as_view()),
    path("floor/weighings/", WeighingCreate.as_view()),
    *service,
]
