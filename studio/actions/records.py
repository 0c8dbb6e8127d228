"""Sealing finished records, each behind the one before it.

What is sealed is not the record alone but an envelope with everything that stands beside it in the row (subject,
name, time, member, place in the chain, what it amends), so that no column can be changed unnoticed.
`studio.queries.chain` proves it.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from studio.kernel.envelope import envelope
from studio.kernel.errors import Conflict, NotFound
from studio.kernel.seals import FIRST_SEAL, canonical, seal
from studio.kernel.work import work
from studio.models import Member, SealedRecord, Studio


class NothingToAmend(NotFound):
    """The record to be amended is not one of this studio."""

    code = "nothing-to-amend"
    title = "No such record"


class RecordAmended(Conflict):
    """The record was amended in the meantime; what was to be said of it is to be said of the newest one."""

    code = "record-amended"
    title = "Amended in the meantime"


def hold_chain(by: Member) -> None:
    """Lock the studio's chain until the work commits: nothing is sealed, and so nothing amended, meanwhile."""
    Studio.objects.select_for_update(no_key=True).get(pk=by.studio_id)


def newest_record(*, by: Member, subject: str, name: str) -> SealedRecord:
    """The newest sealed record of a thing, which amends all before it; raises `NoSuchThing`."""
    rows = SealedRecord.objects.of(by.studio_id).filter(subject=subject).order_by("-sequence")
    newest: SealedRecord = rows.one(by.studio_id, f"sealed record of {subject}", name=name)
    return newest


def seal_record(
    *,
    by: Member,
    at: datetime,
    subject: str,
    name: str,
    record: Mapping[str, Any],
    amends: SealedRecord | None = None,
) -> SealedRecord:
    """Append `record` (strings, integers, booleans, null, lists and objects) to the studio's chain of seals.

    The studio's row is locked until the work commits, so the chain is one line. Raises `NothingToAmend`.
    """
    if amends is not None and amends.studio_id != by.studio_id:
        raise NothingToAmend("There is no such record to amend.")
    with work():
        hold_chain(by)
        last = SealedRecord.objects.filter(studio_id=by.studio_id).order_by("sequence", "id").last()
        sequence = last.sequence + 1 if last else 1
        previous = last.seal if last else FIRST_SEAL
        text = canonical(
            envelope(
                studio=by.studio_id,
                sequence=sequence,
                subject=subject,
                name=name,
                at=at,
                by=by.pk,
                amends=amends.sequence if amends else None,
                record=record,
            )
        )
        return SealedRecord.objects.create(
            studio_id=by.studio_id,
            sequence=sequence,
            subject=subject,
            name=name,
            text=text,
            previous=previous,
            seal=seal(previous, text),
            sealed_at=at,
            by=by,
            amends=amends,
        )
