"""Amending the record of a closed batch: a new sealed record that names the one it amends, and why.

The amended record says everything anew, with the corrected places corrected, and tells what stood there before; the
one it amends stays as it was sealed. The ledger is not touched: a container that holds something else than the book
says is counted, and a wrong movement reversed.
"""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from batches.actions.batch_lock import lock_batch
from batches.actions.signing import sealed_as
from batches.models import BatchState
from studio.actions.history import record
from studio.actions.records import seal_record
from studio.kernel.errors import Faults, Invalid
from studio.kernel.work import work
from studio.models import Member, SealedRecord

ITS_OWN = ("form", "amendment", "batch")
"""What a record says of itself and not of the work; an amendment does not correct it."""


class NothingToCorrect(Invalid):
    """A correction names a place that the record does not have, or says what stands there already."""

    code = "nothing-to-correct"
    title = "Nothing to correct there"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One place of a record, as a JSON pointer (RFC 6901) such as `/lines/0/supplier`, and what it ought to say."""

    where: str
    says: str


def amend_batch(
    *, by: Member, at: datetime, number: str, seal: str, why: str, corrections: Sequence[Correction] = ()
) -> SealedRecord:
    """Seal a record that amends the batch's newest one, which must be the one with this seal.

    Without corrections it adds only the remark in `why`. Raises `WrongState`, `RecordAmended`, and `Invalid` or
    `NothingToCorrect` with every fault.
    """
    if not why.strip():
        raise Invalid("Say why the record is amended.", errors={"why": ["Say why the record is amended."]})
    with work():
        batch = lock_batch(by=by, number=number, states=[BatchState.CLOSED], doing="amended")
        amended = sealed_as(by=by, batch=batch, seal=seal)
        says = deepcopy(amended.told()["record"])
        told = _corrected(says, corrections)
        says["amendment"] = {
            "amends": {"sequence": amended.sequence, "seal": amended.seal},
            "why": why.strip(),
            "by": by.person.name,
            "corrections": told,
        }
        sealed = seal_record(by=by, at=at, subject="batch", name=number, record=says, amends=amended)
        record(
            by=by,
            at=at,
            subject="batch",
            name=number,
            verb="amended",
            changes={one["where"]: [one["said"], one["says"]] for one in told},
            why=why.strip(),
        )
    return sealed


def _corrected(says: dict[str, Any], corrections: Sequence[Correction]) -> list[dict[str, Any]]:
    """Correct `says` in place; returns place, old and new text of each correction. Raises `NothingToCorrect`."""
    faults = Faults()
    told = []
    for number, correction in enumerate(corrections):
        try:
            said = _set(says, correction)
        except NothingToCorrect as fault:
            faults.add(f"corrections.{number}", fault.message)
        else:
            told.append({"where": correction.where, "said": said, "says": correction.says})
    if faults:
        raise NothingToCorrect(next(iter(faults.errors.values()))[0], errors=faults.errors)
    return told


def _set(says: dict[str, Any], correction: Correction) -> Any:
    """Put the new text where it belongs and return what stood there."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in correction.where.split("/")[1:]]
    if not correction.where.startswith("/") or steps[0] in ITS_OWN:
        raise NothingToCorrect(f"{correction.where[:80]} is no place of the record that can be corrected.")
    inner: Any = says
    for step in steps[:-1]:
        inner = inner[_key(inner, step, correction)]
    key = _key(inner, steps[-1], correction)
    said = inner[key]
    if isinstance(said, (list, dict)):
        raise NothingToCorrect(f"{correction.where[:80]} holds several things; name the single one.")
    if str(said) == correction.says:
        raise NothingToCorrect(f"{correction.where[:80]} says {correction.says[:80]} already.")
    inner[key] = correction.says
    return said


def _key(inner: Any, step: str, correction: Correction) -> Any:
    """The key of a step within a list or an object; raises `NothingToCorrect` where there is none such."""
    if isinstance(inner, dict) and step in inner:
        return step
    if (
        isinstance(inner, list)
        and step.isascii()
        and step.isdigit()
        and len(step) < 6
        and int(step) < len(inner)
    ):
        return int(step)
    raise NothingToCorrect(f"The record has nothing at {correction.where[:80]}.")
