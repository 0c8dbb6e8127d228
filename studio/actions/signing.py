"""Signing a sealed record: who, when, and what they mean by it, as 21 CFR 11.50 and 11.200 ask.

A signature is a sealed record of its own, behind the one it signs. It names the seal it signs, so it cannot be taken
off and put to another record; and it stands in the chain, so it cannot be removed.
"""

from datetime import datetime

from studio.actions.history import record
from studio.actions.proving import Proof
from studio.actions.records import RecordAmended, hold_chain, newest_record, seal_record
from studio.kernel.checkpoints import utc_text
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Meaning, Member, SealedRecord, Signature

SIGNATURE_FORM = "signature 1"
SIGNATURE = "signature"
"""The subject of a signature's own record; its name is that of the record it signs."""


class SignedAlready(Conflict):
    """The member has signed this record with this meaning before; a signature is given once."""

    code = "signed-already"
    title = "Signed already"


def sign_record(
    *, by: Member, at: datetime, proof: Proof, signed: SealedRecord, meaning: Meaning
) -> Signature:
    """Put `by`'s signature to the record, which must be the newest of its thing.

    Raises `RecordAmended`, `SignedAlready`.
    """
    if proof.member != by.pk:
        raise RuntimeError("A member signs with a proof of their own password.")
    with work():
        hold_chain(by)
        if newest_record(by=by, subject=signed.subject, name=signed.name) != signed:
            raise RecordAmended(
                f"The record of {signed.name} was amended since you read it; read the amended one and sign that."
            )
        if Signature.objects.filter(signs=signed, by=by, meaning=meaning).exists():
            raise SignedAlready(f"You have signed {signed.name} as {meaning} already.")
        sealed = seal_record(
            by=by, at=at, subject=SIGNATURE, name=signed.name, record=_told(by, at, signed, meaning)
        )
        record(by=by, at=at, subject=signed.subject, name=signed.name, verb=f"signed as {meaning}")
        return Signature.objects.create(
            studio_id=by.studio_id, signs=signed, record=sealed, meaning=meaning, at=at, by=by
        )


def _told(by: Member, at: datetime, signed: SealedRecord, meaning: Meaning) -> dict[str, object]:
    return {
        "form": SIGNATURE_FORM,
        "meaning": str(meaning),
        "printed_name": by.person.name,
        "signed_at": utc_text(at),
        "proved_by": "password",
        "signs": {
            "sequence": signed.sequence,
            "seal": signed.seal,
            "subject": signed.subject,
            "name": signed.name,
        },
    }
