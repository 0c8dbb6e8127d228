"""Bottles and lots over the API: receiving, reading, tracing, and what can be done to a lot."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.counting import count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.actions.holding import hold_lots, hold_with_descendants, release_lot
from inventory.actions.placing import change_lot
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.api.filters import LotFilters
from inventory.api.lot_shapes import (
    BottleIn,
    CautionsOut,
    ClaimsOut,
    ContentsOut,
    CountIn,
    CountOut,
    DiscardIn,
    DrawOffIn,
    HoldIn,
    HoldOut,
    LotChange,
    LotOut,
    MoveIn,
    ReleaseIn,
    TraceAsk,
    TraceOut,
)
from inventory.api.references import lot_numbered, resolved
from inventory.api.sheet_shapes import BottleSheetOut
from inventory.models import Lot, LotKind
from inventory.queries.shelf import cautions_for, claims_on, contents_of, lots_of
from inventory.queries.trace import trace_lot
from studio.api.views import Endpoint, ListEndpoint


class LotList(ListEndpoint):
    """Lots of all kinds."""

    model = Lot
    shape = LotOut
    filterset_class = LotFilters
    orderings = ("number", "title", "expires_on", "made_at", "on_hand", "kind")
    ordering = "number"

    def rows(self) -> QuerySet[Lot]:
        return lots_of(self.studio)


class BottleList(LotList):
    """Bottles; creating one is receiving it."""

    csv_shape = BottleSheetOut

    def rows(self) -> QuerySet[Lot]:
        return lots_of(self.studio).filter(kind=LotKind.BOTTLE)

    @extend_schema(request=BottleIn, responses={201: LotOut})
    def post(self, request: Request) -> HttpResponse:
        """Receive a bottle."""
        bottle = Bottle(**resolved(self.studio, self.read(BottleIn)))
        [lot] = receive_bottles(by=self.by, now=self.now, bottles=[bottle])
        return self.created(LotOut, _shown(self, lot), location=f"/api/v1/lots/{lot.number}/")


class LotDetail(Endpoint):
    @extend_schema(responses=LotOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read a lot."""
        return self.answer(LotOut, _shown(self, lot_numbered(self.studio, number)))

    @extend_schema(request=LotChange, responses=LotOut)
    def patch(self, request: Request, number: str) -> HttpResponse:
        """Change what is noted of a lot; its mass and contents follow from the ledger alone."""
        lot = lot_numbered(self.studio, number)
        changes = resolved(self.studio, self.read(LotChange))
        changed = change_lot(by=self.by, now=self.now, lot=lot, changes=changes, expected=self.edition())
        return self.answer(LotOut, _shown(self, changed))


class LotContents(Endpoint):
    @extend_schema(responses=ContentsOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read what a lot contains, by its actual weighings, with standard uncertainties."""
        lot = lot_numbered(self.studio, number)
        contents = {"lot": lot.number, "revision": lot.contents_revision, "contents": contents_of(lot)}
        return self.answer(ContentsOut, contents)


class LotCautions(Endpoint):
    @extend_schema(responses=CautionsOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read the cautions that what is in a lot gives reason for, with the reasons."""
        return self.answer(CautionsOut, cautions_for(lot_numbered(self.studio, number)))


class LotTrace(Endpoint):
    asks = {"GET": TraceAsk}

    @extend_schema(responses=TraceOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Trace a lot back to its bottles, or forward to everything it went into, with masses."""
        lot = lot_numbered(self.studio, number)
        return self.answer(TraceOut, trace_lot(lot=lot, direction=self.asked.get("direction", "back")))


class LotClaims(Endpoint):
    @extend_schema(responses=ClaimsOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """List the open claims on a lot, and what each falls short."""
        standing = claims_on([lot_numbered(self.studio, number)])
        return self.answer(ClaimsOut, {"items": [_claim_row(one) for one in standing]})


class LotCount(Endpoint):
    @extend_schema(request=CountIn, responses=CountOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Count a lot by weighing its container; a loss is spilled, or evaporated solvent."""
        lot = lot_numbered(self.studio, number)
        count = count_lot(by=self.by, now=self.now, number=lot.number, **self.read(CountIn))
        result = {"book": count.book, "found": count.found, "lot": _shown(self, count.lot)}
        return self.answer(CountOut, result)


class LotDiscard(Endpoint):
    @extend_schema(request=DiscardIn, responses=LotOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Discard some or all of a lot."""
        lot = lot_numbered(self.studio, number)
        lot = discard(by=self.by, now=self.now, number=lot.number, **self.read(DiscardIn))
        return self.answer(LotOut, _shown(self, lot))


class LotHold(Endpoint):
    @extend_schema(request=HoldIn, responses=HoldOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Put a lot on hold, and what was made of it if so asked.

        The answer lists all descendants and the open batches that have claimed any of them.
        """
        wanted = self.read(HoldIn)
        lot = lot_numbered(self.studio, number)
        if wanted.get("descendants"):
            held = hold_with_descendants(by=self.by, now=self.now, lot_id=lot.id, why=wanted["why"])
        else:
            held = hold_lots(by=self.by, now=self.now, lot_ids=[lot.id], why=wanted["why"])
        descendants = trace_lot(lot=lot, direction="forward").lots
        touched = Lot.objects.of(self.studio).filter(
            id__in=[lot.id, *(traced.lot.id for traced in descendants)]
        )
        result = {
            "held": [one.number for one in held],
            "descendants": descendants,
            "open_batches": sorted({standing.claim.purpose for standing in claims_on(touched)}),
        }
        return self.answer(HoldOut, result)


class LotRelease(Endpoint):
    @extend_schema(request=ReleaseIn, responses=LotOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Take a lot off hold."""
        lot = lot_numbered(self.studio, number)
        lot = release_lot(by=self.by, now=self.now, lot_id=lot.id, **self.read(ReleaseIn))
        return self.answer(LotOut, _shown(self, lot))


class LotDrawOff(Endpoint):
    @extend_schema(request=DrawOffIn, responses={201: LotOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Draw some of a lot off into a vial, or into another lot of the same kind."""
        lot = lot_numbered(self.studio, number)
        wanted = resolved(self.studio, self.read(DrawOffIn))
        told = {name: wanted.pop(name) for name in ("mass", "at", "expired_reason") if name in wanted}
        kind = wanted.pop("kind", LotKind.VIAL)
        container = Container(kind=LotKind(lot.kind if kind == "same" else kind), **wanted)
        drawn = draw_off(by=self.by, now=self.now, number=lot.number, container=container, **told)
        return self.created(LotOut, _shown(self, drawn), location=f"/api/v1/lots/{drawn.number}/")


class LotMove(Endpoint):
    @extend_schema(request=MoveIn, responses=LotOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Put a lot on another shelf or under another keeper; null is no shelf, or the studio's."""
        lot = lot_numbered(self.studio, number)
        changes = resolved(self.studio, self.read(MoveIn))
        return self.answer(
            LotOut, _shown(self, change_lot(by=self.by, now=self.now, lot=lot, changes=changes))
        )


def _shown(view: Endpoint, lot: Lot) -> Lot:
    return lots_of(view.studio).get(pk=lot.pk)


def _claim_row(standing: Any) -> dict[str, Any]:
    claim = standing.claim
    fields = ("lot", "purpose", "asked", "poured", "mass", "made_at", "by")
    return {name: getattr(claim, name) for name in fields} | {"short": standing.short}
