"""The sealed record of a batch over the API: read, signed, amended."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.actions.amending import Correction, amend_batch
from batches.actions.signing import sign_batch
from batches.api.record_shapes import AmendIn, RecordOut, SignIn
from batches.api.references import batch_number
from batches.models import Batch
from batches.queries.records import batch_record
from studio.actions.proving import Proof, prove_password
from studio.api.views import Endpoint
from studio.models import Meaning


class BatchRecord(Endpoint):
    @extend_schema(responses=RecordOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read the sealed record of a closed batch, what it amends, and who signed it."""
        return self.answer(RecordOut, _record(self, batch_number(self.studio, number)))


class BatchSign(Endpoint):
    """Signing. The password is proved before the work begins, so that a wrong one stays noted."""

    told: dict[str, Any]
    proof: Proof

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        number = batch_number(self.studio, self.kwargs["number"])
        Batch.objects.one(self.studio, "batch", number=number)
        self.told = self.read(SignIn)
        self.proof = prove_password(
            by=self.by, at=self.now, password=self.told.pop("password"), what=f"sign batch {number}"
        )

    @extend_schema(request=SignIn, responses=RecordOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Sign the record of a closed batch as weighed, checked or released, with the password entered again."""
        number = batch_number(self.studio, number)
        sign_batch(
            by=self.by,
            at=self.now,
            proof=self.proof,
            number=number,
            seal=self.told["seal"],
            meaning=Meaning(self.told["meaning"]),
        )
        return self.answer(RecordOut, _record(self, number))


class BatchAmend(Endpoint):
    @extend_schema(request=AmendIn, responses=RecordOut)
    def post(self, request: Request, number: str) -> HttpResponse:
        """Amend the record of a closed batch: a new sealed record that names the one it amends, and why.

        The ledger stays as it is: what a container really holds is set right by counting it.
        """
        number = batch_number(self.studio, number)
        told = self.read(AmendIn)
        corrections = [Correction(**one) for one in told.pop("corrections", [])]
        amend_batch(by=self.by, at=self.now, number=number, corrections=corrections, **told)
        return self.answer(RecordOut, _record(self, number))


def _record(view: Endpoint, number: str) -> Any:
    return batch_record(studio=view.studio, number=number)
