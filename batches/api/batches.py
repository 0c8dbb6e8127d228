"""Batches over the API, from draft to sealed record."""

from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.asking_keepers import ask_keepers
from batches.actions.closing import Filled, close_batch
from batches.actions.dating import date_batch
from batches.actions.planning import draft_formula_batch, draft_stock_batch
from batches.actions.rescuing import choose_way_on
from batches.actions.reserving import reserve_batch, void_batch
from batches.actions.weighing import Reading, log_weighings, strike_weighing
from batches.api.filters import BatchFilters
from batches.api.references import batch_number
from batches.api.shapes import (
    AskKeepersIn,
    BatchChange,
    BatchIn,
    BatchInHandOut,
    BatchOut,
    ClosedOut,
    CloseIn,
    KeepersAskedOut,
    RefusedReadingOut,
    ReserveIn,
    StrikeIn,
    VoidIn,
    WayOnIn,
    WaysOnOut,
    WeighingOut,
    WeighingsIn,
)
from batches.models import Batch, BatchKind, RefusedReading, Weighing
from batches.queries.batches import (
    batch_in_hand,
    batches_of,
    refused_readings_of,
    ways_on,
    weighings_of,
)
from batches.queries.formulas import formulas_of, version_of
from batches.queries.grids import vial_lots
from inventory.api.references import naming, resolved
from inventory.models import Material
from inventory.queries.sharing import requests_of
from inventory.queries.shelf import lots_of
from studio.api.views import Endpoint, ListEndpoint
from studio.kernel.errors import Faults, Invalid
from studio.kernel.work import work
from studio.models import Studio


class BatchList(ListEndpoint):
    model = Batch
    shape = BatchOut
    filterset_class = BatchFilters
    orderings = ("number", "created_at", "planned_on", "ended_at", "title")
    ordering = "-created_at"

    def rows(self) -> QuerySet[Batch]:
        return batches_of(self.studio)

    @extend_schema(request=BatchIn, responses={201: BatchInHandOut})
    def post(self, request: Request) -> HttpResponse:
        """Draft a batch of a formula version (formula, mass) or of a stock (material, strength, solvent, mass).

        A weigh plan is made at once from what the shelf holds; with reserve it is claimed too, all of it or nothing.
        When nothing fits, the batch stays a draft without lines, and its weigh plan tells why and what would help.
        """
        wanted = self.read(BatchIn)
        reserve = wanted.pop("reserve", False)
        with work():
            batch = self._draft(wanted)
            if reserve:
                reserve_batch(by=self.by, now=self.now, number=batch.number)
        return self.created(
            BatchInHandOut,
            batch_in_hand(studio=self.studio, number=batch.number),
            location=f"/api/v1/batches/{batch.number}/",
        )

    def _draft(self, wanted: dict[str, Any]) -> Batch:
        _refuse_unclear(wanted)
        wanted = resolved(self.studio, wanted)
        if "material" in wanted:
            return draft_stock_batch(by=self.by, now=self.now, **wanted)
        code = wanted.pop("formula")
        number = wanted.pop("version", None) or _last_version(self, code)
        version = version_of(studio=self.studio, code=code, number=number)
        bounds = _bounds(self.studio, wanted.pop("solvent_bounds", []))
        return draft_formula_batch(by=self.by, now=self.now, version=version, solvent_bounds=bounds, **wanted)


class BatchDetail(Endpoint):
    @extend_schema(responses=BatchInHandOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read a batch with its lines as they stand at the bench."""
        return self.answer(BatchInHandOut, _in_hand(self, number))

    @extend_schema(request=BatchChange, responses=BatchInHandOut)
    def patch(self, request: Request, number: str) -> HttpResponse:
        """Set, move or take away the day on which a batch is to be made, as long as nothing is weighed."""
        date_batch(
            by=self.by,
            now=self.now,
            number=batch_number(self.studio, number),
            expected=self.edition(),
            **self.read(BatchChange),
        )
        return self.answer(BatchInHandOut, _in_hand(self, number))


class BatchReserve(Endpoint):
    @extend_schema(request=ReserveIn, responses=BatchInHandOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Claim everything the weigh plan takes: all of it, or nothing and the lots that fall short."""
        reasons = {one["lot"]: one["why"] for one in self.read(ReserveIn).get("expired", [])}
        reserve_batch(
            by=self.by, now=self.now, number=batch_number(self.studio, number), expired_reasons=reasons
        )
        return self.answer(BatchInHandOut, _in_hand(self, number))


class BatchAskKeepers(Endpoint):
    @extend_schema(request=AskKeepersIn, responses={201: KeepersAskedOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Ask the keepers of all lots that a draft takes more of than goes unasked."""
        number = batch_number(self.studio, number)
        asked = ask_keepers(by=self.by, now=self.now, number=number, **self.read(AskKeepersIn))
        rows = requests_of(self.studio).filter(pk__in=[one.pk for one in asked]).order_by("id")
        return self.created(KeepersAskedOut, {"items": rows}, location=f"/api/v1/batches/{number}/")


class BatchWeighings(ListEndpoint):
    model = Weighing
    shape = WeighingOut
    orderings = {"recorded": "id"}
    ordering = "recorded"

    def rows(self) -> QuerySet[Weighing]:
        return weighings_of(studio=self.studio, number=batch_number(self.studio, self.kwargs["number"]))

    @extend_schema(request=WeighingsIn, responses={201: BatchInHandOut})
    def post(self, request: Request, number: str) -> HttpResponse:
        """Log what was really weighed: one or several weighings, all recorded or none."""
        wanted = resolved(self.studio, self.read(WeighingsIn))
        batch = batch_number(self.studio, number)
        log_weighings(
            by=self.by,
            now=self.now,
            number=batch,
            readings=[Reading(**told) for told in wanted["weighings"]],
            balance=wanted.get("balance"),
        )
        return self.created(
            BatchInHandOut,
            _in_hand(self, number),
            location=f"/api/v1/batches/{batch}/weighings/",
        )


class BatchRefusedReadings(ListEndpoint):
    """What was refused at the bench of a batch; it is in no balance."""

    model = RefusedReading
    shape = RefusedReadingOut
    orderings = {"recorded": "id"}
    ordering = "recorded"

    def rows(self) -> QuerySet[RefusedReading]:
        return refused_readings_of(
            studio=self.studio, number=batch_number(self.studio, self.kwargs["number"])
        )


class WeighingStrike(Endpoint):
    @extend_schema(request=StrikeIn, responses=BatchInHandOut)
    def post(self, request: Request, number: str, weighing_id: int) -> HttpResponse:
        """Strike a wrong entry through; it stays readable, with the reason."""
        strike_weighing(
            by=self.by,
            now=self.now,
            number=batch_number(self.studio, number),
            weighing_id=weighing_id,
            **self.read(StrikeIn),
        )
        return self.answer(BatchInHandOut, _in_hand(self, number))


class BatchOverpour(Endpoint):
    @extend_schema(responses=WaysOnOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read the four ways on after an overpour, with what each adds, costs and leaves off target."""
        ways = ways_on(studio=self.studio, number=batch_number(self.studio, number))
        return self.answer(WaysOnOut, {"ways": ways})

    @extend_schema(request=WayOnIn, responses=BatchInHandOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Choose a way on: open targets and claims are rewritten together."""
        choose_way_on(
            by=self.by, now=self.now, number=batch_number(self.studio, number), **self.read(WayOnIn)
        )
        return self.answer(BatchInHandOut, _in_hand(self, number))


class BatchClose(Endpoint):
    @extend_schema(request=CloseIn, responses=ClosedOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Turn the weighings into one made lot, or the vials of a grid, and seal the record; again it changes nothing."""
        filled = Filled(**resolved(self.studio, self.read(CloseIn)))
        batch = close_batch(by=self.by, now=self.now, number=batch_number(self.studio, number), filled=filled)
        shown = batches_of(self.studio).get(pk=batch.pk)
        made = lots_of(self.studio).filter(pk=shown.made_id).first() if shown.made_id else None
        vials = list(vial_lots(self.studio, shown.number)) if shown.kind == BatchKind.GRID else []
        return self.answer(ClosedOut, {"batch": shown, "made": made, "vials": vials})


class BatchVoid(Endpoint):
    @extend_schema(request=VoidIn, responses=BatchInHandOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Give a batch up: claims are released, what was weighed is discarded by movements."""
        void_batch(by=self.by, now=self.now, number=batch_number(self.studio, number), **self.read(VoidIn))
        return self.answer(BatchInHandOut, _in_hand(self, number))


def _in_hand(view: Endpoint, number: str) -> Any:
    return batch_in_hand(studio=view.studio, number=batch_number(view.studio, number))


def _last_version(view: Endpoint, code: str) -> int:
    last: int = formulas_of(view.studio).one(view.studio, "formula", code=code).last_version
    return last


def _bounds(
    studio: Studio, told: list[dict[str, Any]]
) -> dict[Material, tuple[Decimal | None, Decimal | None]]:
    """The bounds by solvent; one that is bounded twice, or is not there, is refused."""
    bounds: dict[Material, tuple[Decimal | None, Decimal | None]] = {}
    for place, bound in enumerate(told):
        field = f"solvent_bounds.{place}.solvent"
        with naming(field):
            solvent: Material = Material.objects.one(studio, "solvent", id=bound["solvent"])
        if solvent in bounds:
            sentence = f"{solvent} is bounded twice; give both bounds together."
            raise Invalid(sentence, errors={field: [sentence]})
        bounds[solvent] = (bound.get("least"), bound.get("most"))
    return bounds


def _refuse_unclear(wanted: dict[str, Any]) -> None:
    """A batch is of a formula or of a stock, and each needs its own fields."""
    faults = Faults()
    if ("formula" in wanted) == ("material" in wanted):
        faults.add("formula", "Give either a formula (for a blend or base) or a material (for a stock).")
    elif "material" in wanted:
        for name in ("strength", "solvent"):
            if name not in wanted:
                faults.add(name, f"A stock needs its {name}.")
        for name in ("version", "solvent_bounds"):
            if name in wanted:
                faults.add(name, f"A stock has no {name.replace('_', ' ')}.")
    elif "solvent" in wanted:
        faults.add("solvent", "A formula brings its own solvents; leave this out.")
    faults.refuse_if_any()
