"""Making a checkpoint: what the records and the ledger of a studio have grown to, hashed, signed, and taken outside.

Everything is read before the transaction that writes the checkpoint, so nobody waits while a long ledger is hashed.
That is sound because only what is settled is read: rows that can never change, up to an id below which none can
appear any more.
"""

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from studio.actions.history import record
from studio.kernel.checkpoint_files import KeptCheckpoint, keep_checkpoints
from studio.kernel.checkpoints import (
    FORM,
    NOTHING_BEFORE,
    SHORT_SEAL,
    blocks_of,
    digest_of,
    row_digest,
    utc_text,
)
from studio.kernel.guarded import Guarded
from studio.kernel.seals import FIRST_SEAL, canonical
from studio.kernel.signing_key import sign
from studio.kernel.work import work
from studio.models import Checkpoint, Member, SealedRecord, Studio
from studio.models.settled_rows import covered_tables, model_of, settled_rows

LONGEST_WAIT_SECONDS = 10


def make_checkpoint(*, at: datetime, studio: Studio) -> Checkpoint | None:
    """The checkpoint of everything new since the one before, signed and kept; None when there is nothing new.

    Two at once make one: the second finds the first one's and returns it.
    """
    last = _last_checkpoint(studio)
    text, is_new = _statement(at, studio, last)
    if not is_new:
        return None
    signature, key = sign(text)
    with work():
        Studio.objects.select_for_update(no_key=True).get(pk=studio.pk)
        newest = _last_checkpoint(studio)
        if newest is not None and (last is None or newest.number > last.number):
            return newest
        made = Checkpoint.objects.create(
            studio=studio,
            number=last.number + 1 if last else 1,
            at=at,
            text=text,
            digest=digest_of(text),
            signature=signature,
            key=key,
        )
        transaction.on_commit(partial(take_outside, studio=studio))
    return made


def checkpoint_now(*, by: Member, at: datetime, why: str = "") -> Checkpoint:
    """A checkpoint because somebody asks for one, which is noted and so always something new."""
    with work():
        record(by=by, at=at, subject="studio", name=by.studio.name, verb="checkpoint asked for", why=why)
    made = make_checkpoint(at=at, studio=by.studio)
    if made is None:
        raise RuntimeError("The note of who asked is not covered by a checkpoint yet, so one can be made.")
    return made


def take_outside(*, studio: Studio) -> int:
    """Write into the studio's file every checkpoint that it lacks at its end; returns how many."""
    rows = Checkpoint.objects.of(studio).order_by("number")
    return keep_checkpoints(
        studio.pk,
        [
            KeptCheckpoint(number=row.number, text=row.text, signature=row.signature, key=row.key)
            for row in rows
        ],
    )


def _last_checkpoint(studio: Studio) -> Checkpoint | None:
    return Checkpoint.objects.of(studio).order_by("number").last()


def _statement(at: datetime, studio: Studio, last: Checkpoint | None) -> tuple[str, bool]:
    """The text of the next checkpoint, and whether there is anything in it that the last one did not say."""
    before = _told_by(last)
    records = _records(studio, before["records"])
    tables = {
        guarded.table: _table(studio, guarded, before["tables"].get(guarded.table, {}))
        for guarded in covered_tables()
    }
    text = canonical(
        {
            "form": FORM,
            "studio": studio.pk,
            "studio_name": studio.name,
            "number": last.number + 1 if last else 1,
            "at": utc_text(at),
            "previous": last.digest if last else NOTHING_BEFORE,
            "records": records,
            "tables": tables,
        }
    )
    new = records["to"] > records["after"] or any(
        block["rows"] for table in tables.values() for block in table["blocks"]
    )
    return text, new


def _told_by(last: Checkpoint | None) -> dict[str, Any]:
    if last is None:
        return {"records": {"to": 0, "seal": FIRST_SEAL}, "tables": {}}
    told: dict[str, Any] = last.told()
    return told


def _records(studio: Studio, before: dict[str, Any]) -> dict[str, Any]:
    """The seals since the last checkpoint: of all a few digits, which tell where it breaks, and the whole of the last."""
    rows = SealedRecord.objects.of(studio).filter(sequence__gt=before["to"]).order_by("sequence")
    seals = list(rows.values_list("sequence", "seal"))
    return {
        "after": before["to"],
        "to": seals[-1][0] if seals else before["to"],
        "seal": seals[-1][1] if seals else before["seal"],
        "seals": [seal[:SHORT_SEAL] for _, seal in seals],
    }


def _table(studio: Studio, guarded: Guarded, before: dict[str, Any]) -> dict[str, Any]:
    after = int(before.get("to", 0))
    to = max(after, _settled_id(guarded.table))
    rows = settled_rows(guarded.table, studio=studio.pk, columns=guarded.settled, after=after, to=to)
    hashed: Iterator[tuple[int, bytes]] = ((pk, row_digest(text)) for pk, text in rows)
    return {
        "columns": list(guarded.settled),
        "after": after,
        "to": to,
        "blocks": [block.plain() for block in blocks_of(hashed, to)] if to > after else [],
    }


def _settled_id(table: str) -> int:
    """The greatest id in a table, when nobody is still writing a smaller one.

    Ids are given out before they are committed. A lock that conflicts with every writer waits for those who have
    begun; whoever comes after it gets greater ids. It is taken alone and let go at once, so it takes part in no circle.
    """
    model = model_of(table)
    if model is None:
        return 0
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute(f"SET LOCAL lock_timeout = '{LONGEST_WAIT_SECONDS}s'")
                cursor.execute(f"LOCK TABLE {table} IN SHARE MODE")
        greatest: int | None = model._default_manager.aggregate(found=Max("pk"))["found"]
        # Nothing was written; going back also lets go of a lock that was taken within somebody's transaction.
        transaction.set_rollback(True)
    return greatest or 0
