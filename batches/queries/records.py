"""The sealed record of a batch as people read it: the newest, what it amends, who signed it, and what may still be said."""

from dataclasses import dataclass
from typing import Any

from batches.models import Batch
from studio.models import Checkpoint, Meaning, Member, SealedRecord, Signature, Studio


@dataclass(frozen=True, slots=True)
class BatchRecordSeen:
    """The newest record of a batch, newest first those it amends, and every signature in the order they were given."""

    newest: SealedRecord
    record: dict[str, Any]
    amended: list[SealedRecord]
    signatures: list[Signature]
    checkpoint: Checkpoint | None

    @property
    def sequence(self) -> int:
        return self.newest.sequence

    @property
    def previous(self) -> str:
        return self.newest.previous

    @property
    def seal(self) -> str:
        return self.newest.seal

    @property
    def text(self) -> str:
        return self.newest.text

    @property
    def amendment(self) -> dict[str, Any] | None:
        """Why the newest amends the one before, and what it corrects; None for the first."""
        told: dict[str, Any] | None = self.record.get("amendment")
        return told

    def signed_as(self, meaning: Meaning) -> bool:
        """Whether somebody has signed the newest record with this meaning."""
        return any(one.signs_id == self.newest.pk and one.meaning == meaning for one in self.signatures)


def batch_record(*, studio: Studio, number: str) -> BatchRecordSeen:
    """The record of a closed batch, with the first checkpoint that covers it; three statements."""
    rows = SealedRecord.objects.of(studio).filter(subject="batch", name=number).order_by("-sequence")
    records = list(rows.select_related("by__person"))
    newest = records[0] if records else rows.one(studio, "sealed record of batch", name=number)
    signatures = Signature.objects.of(studio).filter(signs__in=records).order_by("id")
    return BatchRecordSeen(
        newest=newest,
        record=newest.told()["record"],
        amended=records[1:],
        signatures=list(signatures.select_related("signs", "record", "by__person")),
        checkpoint=_covering(studio, newest),
    )


def meanings_open_to(*, member: Member, batch: Batch, seen: BatchRecordSeen) -> list[Meaning]:
    """What the member may still say of the newest record; the action that signs judges the same again. Two statements."""
    weighers = set(batch.weighings.values_list("by__person_id", flat=True))
    given = {
        one.meaning for one in seen.signatures if one.signs_id == seen.newest.pk and one.by_id == member.pk
    }
    two = Studio.objects.get(pk=batch.studio_id).two_person_check
    checked = any(
        one.signs_id == seen.newest.pk and one.meaning == Meaning.CHECKED and one.by.person_id not in weighers
        for one in seen.signatures
    )
    mine = member.person_id in weighers
    barred = {
        Meaning.WEIGHED: not mine,
        Meaning.CHECKED: two and mine,
        Meaning.RELEASED: two and not checked,
    }
    return [meaning for meaning in Meaning if meaning not in given and not barred[meaning]]


def _covering(studio: Studio, record: SealedRecord) -> Checkpoint | None:
    """The newest checkpoint, if it was made after the record was sealed."""
    newest = Checkpoint.objects.of(studio).order_by("number").last()
    return newest if newest is not None and newest.at >= record.sealed_at else None
