"""Noting what was refused at the bench, so that it can be found. It moves nothing and claims nothing."""

from dataclasses import dataclass
from datetime import datetime

from batches.actions.batch_lock import lock_batch
from batches.models import BatchState
from batches.models.refused import RefusedFor, RefusedReading
from studio.kernel.work import work
from studio.models import Member
from studio.models.scoped import NoSuchThing

KIND_OF = {
    "wrong-lot": RefusedFor.WRONG_LOT,
    "mistyped-lot-number": RefusedFor.WRONG_LOT,
    "lot-on-hold": RefusedFor.LOT_ON_HOLD,
    "lot-expired": RefusedFor.LOT_EXPIRED,
    "unclear-weight": RefusedFor.UNCLEAR,
    "unfit-reading": RefusedFor.UNFIT,
    "asked-twice": RefusedFor.OUTSIDE,
    "outside-tolerance": RefusedFor.OUTSIDE,
    "line-moved-on": RefusedFor.MOVED_ON,
}
"""The codes of refusals that are noted, with what they are noted as."""


LONGEST_TOLD = 200
LONGEST_WHY = 500
LAST_POSITION = 32_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """What was refused: the lot or weight as `told`, and `why` in the words that were shown.

    `operation` is the client's own name for this refusal, so that telling it again notes it once.
    """

    operation: str
    position: int
    kind: RefusedFor
    told: str
    why: str


def note_refused(*, by: Member, now: datetime, number: str, refused: Refused, at: datetime) -> RefusedReading:
    """Note one refusal at the bench; telling it again finds the one that was noted.

    The batch keeps its edition, because nothing of it changes; one that has ended since is noted too, since a bench
    without a connection tells late. Raises `NoSuchThing`.
    """
    if not 0 < refused.position <= LAST_POSITION:
        raise NoSuchThing(f"Batch {number} has no line {refused.position}.")
    with work():
        batch = lock_batch(by=by, number=number, states=tuple(BatchState), doing="weighed")
        known = RefusedReading.objects.of(by.studio_id).filter(operation=refused.operation).first()
        if known is not None:
            return known
        noted: RefusedReading = RefusedReading.objects.create(
            studio_id=by.studio_id,
            batch=batch,
            position=refused.position,
            kind=refused.kind,
            told=_plain(refused.told, LONGEST_TOLD) or "nothing",
            why=_plain(refused.why, LONGEST_WHY) or "No reason was given.",
            at=at,
            recorded_at=now,
            by=by,
            operation=refused.operation,
        )
    return noted


def _plain(text: str, longest: int) -> str:
    """A text as it came, on one line and without what no database keeps."""
    return " ".join(text.replace("\0", " ").split())[:longest]
