"""Taking a batch in hand: its row is locked before any lot, and its state checked, by every verb on a batch."""

from collections.abc import Collection

from batches.models import Batch, BatchState
from studio.actions.changing import refuse_stale
from studio.kernel.errors import Conflict
from studio.models import Member


class WrongState(Conflict):
    """The batch is not in a state in which this can be done."""

    code = "wrong-state"
    title = "Not in this state"


def lock_batch(
    *,
    by: Member,
    number: str,
    states: Collection[BatchState],
    doing: str,
    expected: int | None = None,
) -> Batch:
    """The studio's batch of this number, locked until the transaction ends, in one of `states`.

    Raises `NoSuchThing`, `StaleEdition`, or `WrongState` saying what cannot be done to it.
    """
    batch: Batch = Batch.objects.select_for_update(no_key=True, of=("self",)).one(
        by.studio_id, "batch", number=number
    )
    refuse_stale(batch, expected, f"Batch {number}")
    refuse_other_state(batch, states, doing)
    return batch


def refuse_other_state(batch: Batch, states: Collection[BatchState], doing: str) -> None:
    """Raise `WrongState` when a locked batch is in none of `states`, saying what cannot be done to it."""
    if batch.state not in states:
        number = batch.number
        raise WrongState(
            f"Batch {number} is {batch.get_state_display().lower()}; it cannot be {doing} any more."
            if batch.state in (BatchState.CLOSED, BatchState.VOID)
            else f"Batch {number} is in state {batch.get_state_display().lower()}; it cannot be {doing} yet.",
            batch=number,
            state=batch.state,
            allowed=sorted(states),
        )


def save_batch(batch: Batch, *fields: str) -> None:
    """Write these fields of a locked batch as its next edition."""
    batch.edition += 1
    batch.save(update_fields=[*fields, "edition"])
