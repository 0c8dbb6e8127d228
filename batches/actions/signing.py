"""Signing the record of a closed batch: weighed, checked, released.

A studio may ask for two people: then a batch is released only when somebody who weighed nothing of it has checked
it. Whoever weighed it may not be the one who checks.
"""

from datetime import datetime

from batches.actions.batch_lock import lock_batch
from batches.models import Batch, BatchState
from studio.actions.proving import Proof
from studio.actions.records import RecordAmended, newest_record
from studio.actions.signing import sign_record
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Meaning, Member, SealedRecord, Signature, Studio


class DidNotWeigh(Conflict):
    """Only those who weighed something of a batch sign it as weighed."""

    code = "did-not-weigh"
    title = "Not weighed by you"


class OwnWorkNotChecked(Conflict):
    """The studio asks for two people, and nobody checks what they weighed themselves."""

    code = "own-work-not-checked"
    title = "Checked by somebody else"


class NotCheckedYet(Conflict):
    """The studio asks for two people: nobody who did not weigh the batch has signed its record as checked."""

    code = "not-checked-yet"
    title = "Not checked yet"


def sign_batch(
    *, by: Member, at: datetime, proof: Proof, number: str, seal: str, meaning: Meaning
) -> Signature:
    """Sign the record with this seal, which must be the newest of the batch.

    Raises `WrongState`, `RecordAmended`, `SignedAlready`, `DidNotWeigh`, `OwnWorkNotChecked`, `NotCheckedYet`.
    """
    with work():
        batch = lock_batch(by=by, number=number, states=[BatchState.CLOSED], doing="signed")
        signed = sealed_as(by=by, batch=batch, seal=seal)
        _refuse_unfit(by, batch, signed, meaning)
        return sign_record(by=by, at=at, proof=proof, signed=signed, meaning=meaning)


def sealed_as(*, by: Member, batch: Batch, seal: str) -> SealedRecord:
    """The newest record of a locked batch, which must be the one with this seal; raises `RecordAmended`."""
    newest = newest_record(by=by, subject="batch", name=batch.number)
    if newest.seal != seal:
        raise RecordAmended(
            f"The newest record of batch {batch.number} has another seal than the one you read; read it again."
        )
    return newest


def _refuse_unfit(by: Member, batch: Batch, signed: SealedRecord, meaning: Meaning) -> None:
    weighers = set(batch.weighings.values_list("by__person_id", flat=True))
    if meaning == Meaning.WEIGHED and by.person_id not in weighers:
        raise DidNotWeigh(f"You weighed nothing of batch {batch.number}, so you cannot sign it as weighed.")
    if not Studio.objects.get(pk=batch.studio_id).two_person_check:
        return
    if meaning == Meaning.CHECKED and by.person_id in weighers:
        raise OwnWorkNotChecked(
            f"You weighed batch {batch.number} yourself; in this studio somebody else has to check it."
        )
    checked = Signature.objects.filter(signs=signed, meaning=Meaning.CHECKED)
    if meaning == Meaning.RELEASED and not checked.exclude(by__person_id__in=weighers).exists():
        raise NotCheckedYet(
            f"Nobody who did not weigh batch {batch.number} has signed its record as checked; that comes first."
        )
