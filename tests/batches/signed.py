"""Signing and amending at the workbench."""

from typing import Any

from batches.actions.amending import Correction, amend_batch
from batches.actions.signing import sign_batch
from batches.models import Batch
from studio.actions.proving import prove_password
from studio.models import Meaning, Member, SealedRecord, Signature
from tests.conftest import PASSWORD
from tests.workbench import Workbench


def record_of(batch: Batch) -> SealedRecord:
    """The newest sealed record of a batch."""
    return SealedRecord.objects.filter(studio=batch.studio_id, subject="batch", name=batch.number).order_by(
        "-sequence"
    )[0]


def sign(
    bench: Workbench, batch: Batch, meaning: str, *, by: Member | None = None, seal: str = ""
) -> Signature:
    """Sign a batch's newest record with the password that every member of a test has."""
    member = by or bench.by
    proof = prove_password(by=member, at=bench.now, password=PASSWORD, what="sign")
    return sign_batch(
        by=member,
        at=bench.now,
        proof=proof,
        number=batch.number,
        seal=seal or record_of(batch).seal,
        meaning=Meaning(meaning),
    )


def amend(bench: Workbench, batch: Batch, why: str, **corrections: Any) -> SealedRecord:
    """Amend a batch's newest record; `corrections` are new texts by their pointers, given with `**`."""
    return amend_batch(
        by=bench.by,
        at=bench.now,
        number=batch.number,
        seal=record_of(batch).seal,
        why=why,
        corrections=[Correction(where=where, says=says) for where, says in corrections.items()],
    )
