"""Proving a studio's chain of sealed records from scratch.

The records are read in order, a few at a time, and every seal is computed anew. A break is reported at its own
place and the proof goes on behind it, so one altered record is one finding. What a chain cannot show by itself is that
its last records were cut off; for that somebody must hold a later seal.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import QuerySet

from studio.kernel.checkpoints import utc_text
from studio.kernel.envelope import envelope
from studio.kernel.seals import FIRST_SEAL, seal
from studio.models import SealedRecord, Signature, Studio

CHUNK = 500


@dataclass(frozen=True, slots=True)
class BrokenLink:
    """A record that does not hold: its place in the chain, and a sentence saying why."""

    sequence: int
    sentence: str


def records_of(studio: Studio) -> QuerySet[SealedRecord]:
    """All sealed records of a studio, with who sealed them and what they amend."""
    return SealedRecord.objects.of(studio).select_related("by__person", "amends")


def broken_signatures(studio: Studio) -> Iterator[BrokenLink]:
    """Every signature that is another than its sealed record says, or lost the one or the other; one statement each."""
    signatures = Signature.objects.of(studio).select_related("signs", "record").order_by("id")
    for signature in signatures.iterator(chunk_size=CHUNK):
        if not _signature_says_the_same(signature):
            yield BrokenLink(
                signature.record.sequence,
                f"The signature of record {signature.signs.sequence} is not the one that was sealed.",
            )
    stray = Signature.objects.of(studio).exclude(signs__in=SealedRecord.objects.of(studio)).order_by("id")
    for sequence in stray.values_list("record__sequence", flat=True).iterator():
        yield BrokenLink(sequence, f"Record {sequence} seals the signature of a record that is gone.")
    lost = SealedRecord.objects.of(studio).filter(subject="signature", signature=None).order_by("sequence")
    for sequence in lost.values_list("sequence", flat=True).iterator():
        yield BrokenLink(sequence, f"Record {sequence} seals a signature that is gone.")


def broken_links(studio: Studio) -> Iterator[BrokenLink]:
    """Everything in the chain of `studio` that does not hold, in order; nothing when all is well."""
    expected, previous = 1, FIRST_SEAL
    records = SealedRecord.objects.of(studio).select_related("amends").order_by("sequence", "id")
    for record in records.iterator(chunk_size=CHUNK):
        if record.sequence != expected:
            missing = (
                f"{expected}" if record.sequence == expected + 1 else f"{expected} to {record.sequence - 1}"
            )
            yield BrokenLink(expected, f"Record {missing} is missing.")
        elif record.previous != previous:
            yield BrokenLink(
                record.sequence, f"Record {record.sequence} does not follow the seal of the one before it."
            )
        yield from _own_faults(record)
        expected, previous = record.sequence + 1, record.seal


def _own_faults(record: SealedRecord) -> Iterator[BrokenLink]:
    if seal(record.previous, record.text) != record.seal:
        yield BrokenLink(
            record.sequence, f"The text of record {record.sequence} is not the one that was sealed."
        )
    elif not _says_the_same(record):
        yield BrokenLink(
            record.sequence, f"The columns of record {record.sequence} differ from its sealed text."
        )


def _says_the_same(record: SealedRecord) -> bool:
    """Whether the row's columns are those of its sealed envelope."""
    try:
        sealed = json.loads(record.text)
    except ValueError:
        return False
    if not isinstance(sealed, dict) or not isinstance(sealed.get("record"), dict):
        return False
    return sealed == envelope(
        studio=record.studio_id,
        sequence=record.sequence,
        subject=record.subject,
        name=record.name,
        at=record.sealed_at,
        by=record.by_id,
        amends=record.amends.sequence if record.amends else None,
        record=sealed["record"],
    )


def _signature_says_the_same(signature: Signature) -> bool:
    """Whether the row's columns are those of the record that seals it, and it still signs that seal."""
    signed, sealed = signature.signs, signature.record
    try:
        says = sealed.told()["record"]
        there = (says["meaning"], says["signed_at"], says["signs"]["sequence"], says["signs"]["seal"])
    except (ValueError, KeyError, TypeError):
        return False
    here = (signature.meaning, utc_text(signature.at), signed.sequence, signed.seal)
    owners = {signature.studio_id, signed.studio_id, sealed.studio_id}
    return there == here and sealed.by_id == signature.by_id and len(owners) == 1
