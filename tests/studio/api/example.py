"""Example endpoints that do one thing each, for tests of what every endpoint has in common."""

from typing import Any

from django.db import DataError, IntegrityError, OperationalError
from django.urls import include, path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers

from studio.actions.history import record
from studio.api.fields import (
    Day,
    DecimalText,
    GramsField,
    Moment,
    NumberField,
    OneOf,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
    YesNo,
)
from studio.api.parsers import SheetParser
from studio.api.views import Endpoint
from studio.kernel.errors import Conflict, Faults, Forbidden, Invalid, NotFound, Refusal, StaleEdition
from studio.kernel.work import work


class LineShape(Shape):
    mass = GramsField()
    note = PlainText(longest=5, blank=True, default="")


class EverythingShape(Shape):
    """One field of every kind."""

    mass = GramsField(required=False)
    tare_mass = GramsField(zero=True, required=False)
    strength = StrengthField(required=False)
    lot = NumberField(required=False)
    batch = NumberField("batch", required=False)
    price = DecimalText(digits=8, places=2, least=0, required=False)
    density = DecimalText(digits=6, places=4, above=0, most=20, required=False)
    name = PlainText(longest=10, required=False)
    story = PlainText(longest=40, lines=True, required=False)
    count = WholeNumber(least=1, most=10, required=False)
    open = YesNo(required=False)
    day = Day(required=False, allow_null=True)
    at = Moment(required=False)
    kind = OneOf(["bottle", "vial"], required=False)
    lines = serializers.ListField(child=LineShape(), required=False)


class AskShape(Shape):
    direction = OneOf(["back", "forward"], default="back")
    deep = WholeNumber(most=9, default=3)
    all = YesNo(default=False)


class Everything(Endpoint):
    """Says what it was told."""

    harmless = frozenset({"POST"})

    @extend_schema(request=EverythingShape, responses=EverythingShape)
    def post(self, request: Any) -> Any:
        """Echo."""
        read = self.read(EverythingShape)
        told = EverythingShape(read).data
        return self.answer(None, {name: told[name] for name in read})


class Asking(Endpoint):
    """Says what it was asked."""

    asks = {"GET": AskShape}

    @extend_schema(responses=AskShape)
    def get(self, request: Any, name: str = "") -> Any:
        """Echo."""
        return self.answer(AskShape, self.asked)


class Noting(Endpoint):
    """Writes one entry of history, and may then fail."""

    @extend_schema(request=None, responses=None)
    def post(self, request: Any) -> Any:
        """Note."""
        how = request.data.get("how", "")
        with work():
            entry = record(by=self.by, at=self.now, subject="note", name=how, verb="noted")
        if how == "refuse":
            raise Conflict("Not now.")
        if how == "break":
            raise ZeroDivisionError
        if how == "answer 409":
            return self.answer(None, {}, status=409)
        if how == "nothing":
            return self.nothing()
        return self.created(None, {"id": entry.pk}, location=f"/notes/{entry.pk}")


class Sheet(Endpoint):
    """Says how many bytes it was sent."""

    parser_classes = (SheetParser,)

    @extend_schema(request=None, responses=None)
    def post(self, request: Any) -> Any:
        """Count."""
        return self.answer(None, {"bytes": len(request.data)})


class Lost(Exception):
    """Stands for the driver's own error, which carries the state."""

    def __init__(self, sqlstate: str) -> None:
        self.sqlstate = sqlstate


FAILURES = {
    "invalid": Invalid("Bad.", errors={"a.b": ["Bad."]}, wanted="x"),
    "forbidden": Forbidden("No."),
    "not-found": NotFound("Gone."),
    "conflict": Conflict("Short.", lots=[{"lot": "26-0001-X"}]),
    "stale": StaleEdition("Old."),
    "other": Refusal("Hm."),
    "shadow": Conflict("Short.", status=200, type="evil", detail="evil"),
    "bug": ZeroDivisionError("secret"),
    "unique": (IntegrityError("duplicate"), "23505"),
    "key": (IntegrityError("gone"), "23503"),
    "check": (IntegrityError("check"), "23514"),
    "unique on sqlite": IntegrityError("UNIQUE constraint failed: a.b"),
    "not null": (IntegrityError("null"), "23502"),
    "append-only": (IntegrityError("append-only"), "23000"),
    "too long": (DataError("too long"), "22001"),
    "deadlock": (OperationalError("deadlock"), "40P01"),
    "locked on sqlite": OperationalError("database is locked"),
    "no table": OperationalError("no such table: x"),
}


class Failing(Endpoint):
    """Fails the way it is told to."""

    @extend_schema(responses=None)
    def get(self, request: Any, how: str) -> Any:
        """Fail."""
        failure: Any = FAILURES[how]
        if isinstance(failure, tuple):
            raise failure[0] from Lost(failure[1])
        raise failure

    @extend_schema(request=None, responses=None)
    def post(self, request: Any, how: str) -> Any:
        """Gather faults."""
        faults = Faults()
        faults.add("lines.0.mass", "Too much.")
        faults.add("lines.1.mass", "Too little.")
        faults.refuse_if_any()


urlpatterns = [
    path("api/v1/everything/", Everything.as_view()),
    path("api/v1/asking/", Asking.as_view()),
    path("api/v1/asking/<str:name>/", Asking.as_view()),
    path("api/v1/notes/", Noting.as_view()),
    path("api/v1/sheet/", Sheet.as_view()),
    path("api/v1/failing/<str:how>/", Failing.as_view()),
    path("", include("studio.urls")),
]
handler400 = "studio.urls.handler400"
handler403 = "studio.urls.handler403"
handler404 = "studio.urls.handler404"
handler500 = "studio.urls.handler500"
