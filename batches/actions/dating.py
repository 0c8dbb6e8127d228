"""The day a batch is to be made on: set, moved or taken away, as long as nothing is weighed."""

from datetime import date, datetime

from batches.actions.batch_lock import lock_batch, save_batch
from batches.models import Batch, BatchState
from studio.actions.history import differences, record
from studio.kernel.work import work
from studio.models import Member


def date_batch(
    *, by: Member, now: datetime, number: str, planned_on: date | None, expected: int | None = None
) -> Batch:
    """Say on which day a batch is to be made; None for no day yet. What it claims is not touched.

    Raises `WrongState` once it is being weighed, `StaleEdition`.
    """
    with work():
        batch = lock_batch(
            by=by,
            number=number,
            states=[BatchState.DRAFT, BatchState.RESERVED],
            doing="moved to another day",
            expected=expected,
        )
        changed = differences({"planned_on": batch.planned_on}, {"planned_on": planned_on})
        if changed:
            batch.planned_on = planned_on
            save_batch(batch, "planned_on")
            record(by=by, at=now, subject="batch", name=number, verb="dated", changes=changed)
    return batch
